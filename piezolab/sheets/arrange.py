"""From a chain to its drawing: supply, pickup and lead to the left of the stage, cable, pad and input to its right.

The stage's own parts stand where `stage_plan` puts them.
"""

from __future__ import annotations

from piezolab.chain.assembly import Assembly
from piezolab.chain.parts import GROUND
from piezolab.chain.stages.stage import INPUT
from piezolab.sheets.drawing import Drawing, Point, Symbol
from piezolab.sheets.stage_plan import StagePlan, plan_of, symbol_of

_STEP = 2.1  # between upright parts


def arrange(assembly: Assembly) -> Drawing:
    """The drawing of a whole chain, joints included, texts not yet.

    Raises ValueError where no drawing can show the stage's parts.
    """
    return _Arranger(assembly).drawing


def discs(assembly: Assembly) -> list[tuple[str, tuple[str, str]]]:
    """Name and (ceramic, brass) nodes of each disc; an opposed one is upside down."""
    found = []
    for part in assembly.where("pickup"):
        if part.name.startswith("R_p"):
            mark = part.name.removeprefix("R_p")
            hot, cold = part.nodes
            nodes = (cold, hot) if assembly.drive[f"E_p{mark}"] < 0 else (hot, cold)
            found.append((f"disc{mark}", nodes))
    return found


class _Arranger:
    def __init__(self, assembly: Assembly) -> None:
        self.drawing = Drawing()
        self.parts = {part.name: part for part in assembly.parts}
        self.feet: list[float] = []  # where something stands on the ground rail
        self.x = 0.0
        stage = plan_of(assembly)
        stack = any(GROUND not in nodes for _, nodes in discs(assembly))
        pickup_y = max(stage.entry[1], 4.0 if stack else 2.0)
        rail_y = max(stage.top, pickup_y + 1.5, 4.0 if "LED" in self.parts else 0.0)
        rail_x = self._supply(rail_y) if "B1" in self.parts else 0.0
        self._pickup(assembly, pickup_y, stage.entry[1])
        self._stage(stage, rail_x, rail_y)
        self._after()
        self.drawing.wire((min(self.feet), 0.0), (max(self.feet), 0.0))
        self.drawing.join()
        self._check(assembly)

    def _check(self, assembly: Assembly) -> None:
        """What was drawn around the stage must not touch it anywhere else than meant."""
        nodes = {name: part.nodes for name, part in self.parts.items()} | dict(discs(assembly))
        for net in self.drawing.nets():
            names = {
                node
                for symbol in self.drawing.symbols
                for node, point in zip(nodes[symbol.name], symbol.terminals, strict=True)
                if point in net
            }
            if len(names) > 1:
                told = " and ".join(sorted(names))
                raise ValueError(f"stage {assembly.stage.key!r}: something of its schematic is in the way of {told}")

    def _upright(self, symbol: str | Symbol, x: float, top: float, bottom: float = 0.0, down: bool = True) -> None:
        """A two-lead symbol upright between two heights, in the middle, with the wires that reach it."""
        middle = (top + bottom) / 2
        ends = (x, middle + 1), (x, middle - 1)
        if isinstance(symbol, str):
            symbol = symbol_of(self.parts[symbol], ends)
        else:
            symbol = Symbol(symbol.name, symbol.kind, ends if down else ends[::-1])
        self.drawing.symbols.append(symbol)
        self.drawing.wire((x, top), ends[0])
        self.drawing.wire(ends[1], (x, bottom))
        if bottom == 0:
            self.feet.append(x)

    def _supply(self, rail_y: float) -> float:
        """Battery, series resistor, decoupling; returns where the supply rail begins."""
        self._upright("B1", 0.0, rail_y)
        rail_x = 0.0
        if "R_sup" in self.parts:
            rail_x = 2.6
            self.drawing.wire((0.0, rail_y), (0.6, rail_y))
            self.drawing.symbols.append(symbol_of(self.parts["R_sup"], ((0.6, rail_y), (rail_x, rail_y))))
            self.x = 0.8
        if "C_sup" in self.parts:
            self.x += _STEP
            self._upright("C_sup", self.x, rail_y)
        self.x += _STEP
        if "LED" in self.parts:  # left of the battery, whose own node feeds it
            self.drawing.wire((-_STEP, rail_y), (0.0, rail_y))
            self._upright("R_led", -_STEP, rail_y, rail_y / 2)
            self._upright("LED", -_STEP, rail_y / 2)
        return rail_x

    def _pickup(self, assembly: Assembly, top: float, signal_y: float) -> None:
        start = self.x
        found = discs(assembly)
        stacked = any(GROUND not in nodes for _, nodes in found)
        for name, (ceramic, brass) in found:
            upper = top if INPUT in (ceramic, brass) else top / 2
            lower = top / 2 if stacked and upper == top else 0.0
            self._upright(Symbol(name, "disc", ()), self.x, upper, lower, down=brass == GROUND or ceramic == INPUT)
            self.x += 0.0 if stacked and upper == top else _STEP + 0.3 * (len(found) > 1)
        if "C_lead" in self.parts:
            self._upright("C_lead", self.x, top)
            self.x += _STEP - 0.4
        else:
            self.x -= 0.6
        self.drawing.wire((start, top), (self.x, top), (self.x, signal_y))

    def _stage(self, stage: StagePlan, rail_x: float, rail_y: float) -> None:
        shift = self.x - stage.entry[0]
        for symbol in stage.symbols:
            terminals = tuple((x + shift, y) for x, y in symbol.terminals)
            self.drawing.symbols.append(Symbol(symbol.name, symbol.kind, terminals, False, symbol.polarised))
        for wire in stage.wires:
            self.drawing.wire(*((x + shift, y) for x, y in wire))
        for x, y in stage.feet:
            self.drawing.wire((x + shift, y), (x + shift, 0.0))
            self.feet.append(x + shift)
        if stage.heads:
            for x, y in stage.heads:
                self.drawing.wire((x + shift, y), (x + shift, rail_y))
            self.drawing.wire((rail_x, rail_y), (max(x for x, _ in stage.heads) + shift, rail_y))
        elif "B1" in self.parts:
            ends = [foot for foot in self.feet[:2]]
            self.drawing.wire((rail_x, rail_y), (max(ends), rail_y))
        self.x, self.y = stage.exit[0] + shift, stage.exit[1]

    def _after(self) -> None:
        """Jack, cable, pad and input."""
        top = max(self.y, 2.0)
        start = (self.x, self.y)
        self.drawing.ends.append((self.x + 0.5, self.y))
        self.x += 1.0
        line: list[Point] = [start, (self.x, self.y), (self.x, top)]
        if "C_cable" in self.parts:
            self.x += 0.3
            self._upright("C_cable", self.x, top)
            self.x += _STEP + 0.3
        if "R_pad1" in self.parts:
            self.drawing.wire(*line, (self.x, top))
            self.drawing.symbols.append(symbol_of(self.parts["R_pad1"], ((self.x, top), (self.x + 2, top))))
            self.x += 2.6
            line = [(self.x - 0.6, top)]
            self._upright("R_pad2", self.x, top)
            self.x += _STEP
        for name in ("C_in", "R_in"):
            if name in self.parts:
                self._upright(name, self.x, top)
                last = self.x
                self.x += _STEP
        self.drawing.wire(*line, (last, top))
