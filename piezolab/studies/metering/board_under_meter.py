"""The soldered board as it lies on the bench, for the meter: battery off its clip, nothing plugged in, parts spread.

Every resistor is off by its tolerance, and the transistor is drawn from its type (what was measured stays). Nodes are
those of the chain; the battery's way in (clip, switch, Schottky diode) is added where it is used.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, Assembly, assemble
from piezolab.circuit.elements import Element, Resistor, VoltageSource
from piezolab.circuit.jfet import Value
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import OperatingPoint, operating_point
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.led import Led
from piezolab.studies.population import builds

CLIP = "clip"
BUILDS = 300  # parts drawn for the 1st and 99th percentile of a reading
RESISTOR_TOLERANCE = 0.01  # metal film; common practice, no source
ADAPTER_TOLERANCE = 0.05  # of a regulated adapter; common practice, no source
CONTACT_OHM = 0.05
INSULATION_OHM = 1e11  # of board and sockets, from each node to ground
# a 1 A, 20 V Schottky diode: 0.1 to 0.3 V at 0.1 to 5 mA; common practice, no source
SCHOTTKY_SATURATION_A = 1e-6
DIODE = "D1"
DARK_OHM = 1e12  # of a light that does not shine


@dataclass(frozen=True)
class BoardUnderMeter:
    """A chain's board without battery, cable and input.

    network: all builds; nominal: the parts as designed; lanes: nodes of the board in the order in which parts name
    them, ground last; plus: node that the battery feeds; clip_v: (spent, fresh) V at the clip; schottky: whether a
    diode guards against reversal; led: the light beside the board, which a meter's own volts do not reach.
    """

    assembly: Assembly
    network: Network
    nominal: Network
    lanes: tuple[str, ...]
    plus: str
    clip_v: tuple[float, float]
    schottky: bool
    led: Led | None = None

    @property
    def thermal_voltage(self) -> float:
        """kT/q of the bench, V."""
        return float(self.network.jfets[0].model.thermal_voltage) if self.network.jfets else 0.02569


def under_meter(
    chain: SignalChain, schottky: bool = True, size: int = BUILDS, tolerance: float = RESISTOR_TOLERANCE,
    led: Led | None = None,
) -> BoardUnderMeter:
    """The bench of a chain with a stage. tolerance: of resistors, as a part. Raises ValueError with no stage."""
    if not chain.topology.powered:
        raise ValueError("stage: 'direct' has nothing on a bench to measure; allowed is a stage with a supply.")
    assembly = assemble(chain.values)
    spread = assemble(builds(chain, size, seed=7))
    plus = next(part.nodes[0] for part in assembly.parts if part.kind == "battery")
    board = assembly.where("board", "supply")
    lanes = dict.fromkeys(node for part in board for node in part.nodes if node != GROUND)
    rng = np.random.default_rng(3)
    network = Network(_loosened(element, rng, size, tolerance) for element in _elements(spread))
    return BoardUnderMeter(
        assembly, network, Network(_elements(assembly)), (*lanes, GROUND), plus, clip_range(chain), schottky, led
    )


def clip_range(chain: SignalChain) -> tuple[float, float]:
    """Lowest and highest voltage at the clip, V: of the battery spent and fresh, or of an adapter."""
    found = battery_range(chain)
    if found is None:
        return chain.supply_v * (1 - ADAPTER_TOLERANCE), chain.supply_v * (1 + ADAPTER_TOLERANCE)
    fresh, end, _ = found
    return min(end, chain.supply_v), max(fresh, chain.supply_v)


@dataclass(frozen=True)
class Fed:
    """A board on its supply: network with supply, its operating point, current out of the battery in A."""

    network: Network
    point: OperatingPoint
    ampere: np.ndarray


def fed(board: BoardUnderMeter, network: Network, volt: Value, series_ohm: Value = CONTACT_OHM) -> Fed:
    """The board under a voltage at the battery, through `series_ohm` and the Schottky diode.

    The diode's drop V_T ln(1 + I/I_S) is found in turns with the current; three turns leave less than 0.1 mV. Nodes
    `cell` and `clip` are before and after the resistance. Valid for a battery the right way round.
    """
    dark = fed(replace(board, led=None), network, volt, series_ohm).point.voltage(board.plus) if board.led else 0.0
    drop: Value = 0.2 if board.schottky else 0.0
    for _ in range(3 if board.schottky else 1):
        whole = lit(board, supplied(board, network, volt, series_ohm, drop), dark)
        point = operating_point(whole)
        through = np.asarray(point.branch_currents[DIODE])
        drop = diode_drop(np.maximum(through, 0.0), board.thermal_voltage) if board.schottky else 0.0
    return Fed(whole, point, -np.asarray(point.branch_currents["B1"]))


def supplied(
    board: BoardUnderMeter, network: Network, volt: Value, series_ohm: Value = CONTACT_OHM, drop: Value = 0.0
) -> Network:
    """The network with the battery on it, the diode a source of its drop in V."""
    return network.plus(
        VoltageSource("B1", "cell", GROUND, volt),
        Resistor("series", "cell", CLIP, series_ohm),
        VoltageSource(DIODE, CLIP, board.plus, drop),
    )


def lit(board: BoardUnderMeter, whole: Network, dark: Value) -> Network:
    """The network with the board's light, if it has one. dark: V at the supply lane without it, for each of the batch:
    a light shines exactly where these are more than its drop; elsewhere it lets nothing through."""
    if board.led is None:
        return whole
    resistor, light = board.led.parts
    ohm = np.where(np.asarray(dark) > board.led.drop_v, float(resistor.value), DARK_OHM)
    return whole.plus(Resistor(resistor.name, *resistor.nodes, ohm), light.element())


def with_design(board: BoardUnderMeter) -> Network:
    """All builds and, last on the batch's one axis, the parts as designed."""
    return board.network.joined(board.nominal)


def diode_drop(ampere: Value, thermal_voltage: float) -> np.ndarray:
    """Forward voltage of the Schottky diode in V at a current in A, at 25 degC: Shockley's law, n = 1."""
    return thermal_voltage * np.log1p(np.asarray(ampere) / SCHOTTKY_SATURATION_A)


def _elements(assembly: Assembly) -> list[Element]:
    """The elements of pickup, lead and board, and the insulation that holds every node."""
    parts = [part for part in assembly.where("pickup", "lead", "board", "supply") if part.kind != "battery"]
    found: list[Element] = [part.element() for part in parts]
    nodes = dict.fromkeys(node for part in assembly.parts for node in part.nodes if node != GROUND)
    held = {node for part in parts for node in part.nodes}
    return found + [Resistor(f"insulation of {node}", node, GROUND, INSULATION_OHM) for node in nodes if node in held]


def _loosened(element: Element, rng: np.random.Generator, size: int, tolerance: float) -> Element:
    """A resistor within its tolerance, another in each build; the pickup's leakage and the insulation stay."""
    if not isinstance(element, Resistor) or element.name.startswith(("R_p", "insulation")):
        return element
    return replace(element, ohm=element.ohm * (1 + tolerance * rng.uniform(-1, 1, size)))
