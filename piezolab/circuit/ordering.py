"""In which order the unknowns of nodal equations are eliminated, from the pattern of the coefficients alone."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from piezolab.circuit.elements import GROUND

Order = list[tuple[str, str, bool]]  # row, column, and whether the column's value is asked for


def find_order(
    pattern: dict[str, set[str]],
    nodes: Iterable[str],
    ends: Mapping[str, tuple[str, str]],
    partly: Collection[str],
    wanted: frozenset[str] | None,
) -> Order:
    """Which row gives which unknown, so that no pivot is a difference.

    pattern: columns of each row, used up; ends: nodes of each branch; partly: branches that some members lack.
    Branches that form a tree go first, from its leaves inwards: the current law at the outer end gives the branch's
    current (coefficient 1), the branch then the voltage of that end (1 + impedance * admittance). Other branches close
    a loop and give their own current (the loop's impedance). The nodes that remain come last, by least fill-in. With
    `wanted`, steps on which none of these unknowns depends are left out.
    """
    for node in nodes:
        pattern[node].add(node)
    steps: list[tuple[str, str, set[str], set[str]]] = []

    def take(row: str, column: str) -> None:
        columns = pattern.pop(row) - {column}
        reached = {other for other, others in pattern.items() if column in others}
        for other in reached:
            pattern[other] = (pattern[other] | columns) - {column}
        steps.append((row, column, columns, reached))

    tree = _forest(ends)
    for branch, end in reversed(tree.items()):
        if branch in partly:
            pattern[end] = pattern[branch] = pattern[end] | pattern[branch]
        take(end, branch)
        take(branch, end)
    for branch in ends:
        if branch not in tree:
            take(branch, branch)
    while pattern:
        node = min(pattern, key=lambda each: _fill_in(pattern, each))
        take(node, node)
    return _needed(steps, wanted)


def _forest(ends: dict[str, tuple[str, str]]) -> dict[str, str]:
    """Branches that form no loop, each with its outer end, in order outwards from ground or some other root."""
    tree: dict[str, str] = {}
    reached: set[str] = set()
    for root in (GROUND, *(node for pair in ends.values() for node in pair)):
        edge = [root] if root not in reached else []
        reached.update(edge)
        while edge:
            near = edge.pop(0)
            for branch, pair in ends.items():
                far = pair[1] if near == pair[0] else pair[0] if near == pair[1] else near
                if far not in reached:
                    tree[branch] = far
                    reached.add(far)
                    edge.append(far)
    return tree


def _fill_in(pattern: dict[str, set[str]], node: str) -> int:
    return (len(pattern[node]) - 1) * sum(node in columns for columns in pattern.values())


def _needed(
    steps: list[tuple[str, str, set[str], set[str]]], wanted: frozenset[str] | None
) -> Order:
    """The steps on which the wanted unknowns depend: their own rows, and all that is eliminated from these."""
    if wanted is None:
        return [(row, column, True) for row, column, _, _ in steps]
    unknowns, rows = set(wanted), set()
    for row, column, columns, _ in steps:
        if column in unknowns:
            unknowns |= columns
            rows.add(row)
    for row, _, _, reached in reversed(steps):
        if reached & rows:
            rows.add(row)
    return [(row, column, column in unknowns) for row, column, _, _ in steps if row in rows]
