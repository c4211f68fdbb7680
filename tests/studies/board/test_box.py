"""The box closes: all that goes in lies inside, and nothing in anything else."""

from itertools import combinations

import pytest

from piezolab import catalogue
from piezolab.studies.board.box import PANEL, Box, box

BATTERIES = [None, *sorted(catalogue.batteries())]


def made(battery: str | None, panel: tuple[str, ...], board: tuple[float, float], method: str = "tape") -> Box:
    return box(board, method, catalogue.batteries()[battery] if battery else None, panel)


@pytest.mark.parametrize("battery", BATTERIES)
@pytest.mark.parametrize("panel", [("jack",), ("jack", "switch"), ("jack", "switch", "socket")])
@pytest.mark.parametrize("board", [(30.0, 18.0), (20.0, 70.0)])
def test_everything_lies_inside_and_apart(
    battery: str | None, panel: tuple[str, ...], board: tuple[float, float]
) -> None:
    found = made(battery, panel, board)
    names = [body.name for body in found.bodies]
    assert names == [*panel, "board", *(["battery"] if battery else [])]
    for body in found.bodies:
        assert body.x >= 0 and body.x + body.length <= found.length
        assert body.y >= 0 and body.y + body.width <= found.width and body.height < found.depth
    for one, other in combinations(found.bodies, 2):
        beside = one.x + one.length <= other.x or other.x + other.length <= one.x
        behind = one.y + one.width <= other.y or other.y + other.width <= one.y
        assert beside or behind, (one.name, other.name)


def test_each_body_is_as_large_as_it_is() -> None:
    """A block is 48.5 x 26.5 x 17.5 mm at most (IEC 60086-2, 6LR61, from memory), an AA cell 14.5 mm thick and 50.5 mm
    long: six in two layers need 43.5 mm and 29 mm at least."""
    block, six = (made(name, ("jack",), (30.0, 18.0)).bodies[-1] for name in ("alkaline-9v", "aa-6"))
    assert block.length > 48.5 and (block.width, block.height) == pytest.approx((26.5, 17.5))
    assert six.length >= 50.5 and six.width >= 43.5 and six.height >= 29.0
    assert PANEL["jack"][1] > 30.0, "a plug of 6.35 mm stands out at the jack's back"
    assert made(None, ("jack",), (30.0, 18.0), "breadboard").depth > made(None, ("jack",), (30.0, 18.0)).depth
