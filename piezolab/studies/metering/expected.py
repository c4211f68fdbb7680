"""What a meter should read on this very board, solved with the meter attached; over part spread and battery state.

A range is the 1st to the 99th percentile over parts, from the spent to the fresh battery, widened by what the meter
itself may be out. Loading by hand: a node of open-circuit voltage V behind R reads V R_m/(R + R_m).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND
from piezolab.chain.stages.common_parts import model
from piezolab.chain.values import Values
from piezolab.circuit.elements import Jfet, Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.metering.board_under_meter import CLIP, CONTACT_OHM, BoardUnderMeter, clip_range, with_design
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.metering.probes import NO_LOAD, Probe, dead_at_probes, fed_at_probes
from piezolab.studies.plugging import leakage
from piezolab.studies.population import builds

_OHM_BUILDS = 100  # builds for ohms: there the spread is narrow and the pairs are many
BEEPS_BELOW = 50.0  # ohm; common practice, no source
_LOW_PART, _HIGH_PART = 0.02, 0.9  # of the fresh supply: as good as nothing, as good as all of it
_SHORT_OHM = 2.0  # leads and a poor short; common practice, no source


@dataclass(frozen=True)
class Expected:
    """A reading: low to high is where a healthy board reads; typical: with parts as designed. inf: over the range.

    silent: whether what a short and what an open joint would show both lie in it, so that it tells nothing.
    """

    low: float
    typical: float
    high: float
    silent: bool = False

    def holds(self, reading: float) -> bool:
        """Whether a reading is what a healthy board may show."""
        return self.low <= reading <= self.high


@dataclass(frozen=True)
class LaneVolts:
    """DC volts from a lane to ground. unloaded: what would be there without the meter, typical, V."""

    lane: str
    expected: Expected
    unloaded: float

    @property
    def loaded(self) -> bool:
        """Whether the meter itself lowers the reading by more than 2 %."""
        return abs(self.expected.typical - self.unloaded) > 0.02 * max(abs(self.unloaded), 0.05)


@dataclass(frozen=True)
class LaneOhms:
    """Ohms between two lanes, power off; red: lane of the red probe (the positive one), black: of the other."""

    red: str
    black: str
    expected: Expected
    beeps: bool


@dataclass(frozen=True)
class TransistorCheck:
    """The transistor out of the board, volts of the diode test and ohms.

    junction: from gate (red) to source or drain, V; channel: gate and one leg joined, ohm to the third, red on the
    third, over the type's parts; exchanged: the same with red on the two. They part where the meter's current is near
    what the channel can carry.
    """

    junction: Expected
    channel: Expected
    exchanged: Expected


def meter_volts(
    board: BoardUnderMeter, meter: Meter | None = None, series_ohm: float = CONTACT_OHM
) -> tuple[LaneVolts, ...]:
    """DC volts at the clip and at every lane, one meter on one lane at a time; series_ohm: in the battery's lead."""
    meter = meter or Meter()
    lanes = [CLIP, *(lane for lane in board.lanes if lane != GROUND)]
    states = np.array([[volt] for volt in (*board.clip_v, float(board.assembly.values.supply_v))])
    probes = [Probe(lane, ohm=ohm) for ohm in (meter.input_ohm, NO_LOAD) for lane in lanes]
    volts = fed_at_probes(board, with_design(board), probes, states, series_ohm)  # probes, states, builds and design
    found = []
    for lane, read, unloaded in zip(lanes, volts, volts[len(lanes) :], strict=False):
        low, high = percentiles(read[:2, :-1])
        if lane == board.assembly.jack:
            high += _leak(board, meter)
        expected = _widened(low, float(read[2, -1]), high, meter)
        nothing = expected.low <= _LOW_PART * board.clip_v[1] and expected.high >= _HIGH_PART * board.clip_v[1]
        found.append(LaneVolts(lane, replace(expected, silent=nothing), float(unloaded[2, -1])))
    return tuple(found)


def meter_ohms(
    board: BoardUnderMeter, meter: Meter | None = None, pairs: Iterable[tuple[str, str]] | None = None,
    beeps_below: float = BEEPS_BELOW,
) -> tuple[LaneOhms, ...]:  # fmt: skip
    """Ohms between pairs of lanes, battery off, nothing plugged in, capacitors charged: each pair with red on either.

    Through transistor and junctions the reading depends on the meter's range: it is that of the lowest range that shows
    a number. beeps_below: ohm under which the meter's beeper sounds.
    """
    meter = meter or Meter()
    lanes = board.lanes
    size = int(np.prod(board.network.batch_shape))
    some = board.network.take(np.arange(0, size, -(-size // _OHM_BUILDS)))
    if pairs is None:
        pairs = [(a, b) for a in lanes for b in lanes if a != b]
    pairs = tuple(pairs)
    found = []
    for (red, black), ohms in zip(pairs, ohms_at(some.joined(board.nominal), pairs, meter), strict=True):
        expected = ohms_expected(ohms[:-1], float(ohms[-1]), meter)
        found.append(LaneOhms(red, black, expected, bool(expected.low < beeps_below)))
    return tuple(found)


def ohms_expected(ohms: np.ndarray, typical: float, meter: Meter) -> Expected:
    """A reading in ohm from what many builds show and a typical one does, widened by what the meter may be out."""
    low, high = percentiles(ohms)
    if np.isfinite(low):
        low = _over(max(low - float(meter.error(low, meter.ohm_digit(low))), 0.0), meter)
    if np.isfinite(high):
        high = _over(high + float(meter.error(high, meter.ohm_digit(high))), meter)
    return Expected(low, typical, high, silent=low <= _SHORT_OHM and np.isinf(high))


def transistor_check(chain: SignalChain, meter: Meter | None = None) -> TransistorCheck:
    """The chain's transistor on a meter's diode test (about 1 mA; 0.5 to 1.5 mA counts) and ohms ranges."""
    meter = meter or Meter()
    typical = model(chain.values)

    def junction(ampere: float) -> float:
        return float(typical.thermal_voltage * np.log(ampere / typical.saturation_current))

    def by_itself(values: Values) -> np.ndarray:
        alone = Network([Jfet("Q1", "third", GROUND, GROUND, model(values)), Resistor("air", "third", GROUND, 1e11)])
        return ohms_at(alone, [("third", GROUND), (GROUND, "third")], meter)

    many, one = by_itself(builds(chain, 400)), by_itself(chain.values)
    # bulk resistance adds a little at 1.5 mA; makers' junctions differ by a tenth of a volt
    return TransistorCheck(
        Expected(junction(0.5e-3) - 0.1, junction(1e-3), junction(1.5e-3) + 0.15),
        *(ohms_expected(ohms, float(typically), meter) for ohms, typically in zip(many, one, strict=True)),
    )


def jig_volts(
    chain: SignalChain, r1: float, r2: float, meter: Meter | None = None, drain_r: float = 0.0
) -> tuple[Expected, Expected]:
    """DC volts across each source resistor (ohm) of the two-reading jig, over the type's parts and the battery's life.

    The jig: gate to minus, drain to plus through `drain_r`, the resistor from source to minus, the meter across it.
    """
    meter = meter or Meter()
    end, fresh = clip_range(chain)

    def reading(ohm: float, values: Values, volt: float | np.ndarray) -> np.ndarray:
        jig = Network(
            [
                VoltageSource("B1", "plus", GROUND, volt),
                Resistor("R_D", "plus", "drain", drain_r),
                Jfet("Q1", "drain", GROUND, "source", model(values)),
                Resistor("R_S", "source", GROUND, ohm),
                Resistor("meter", "source", GROUND, meter.input_ohm),
            ]
        )
        return operating_point(jig).voltage("source")

    parts = builds(chain, 400)
    found = []
    for ohm in (r1, r2):
        low, high = percentiles(reading(ohm, parts, np.array([[end], [fresh]])))
        found.append(_widened(low, float(reading(ohm, chain.values, float(chain.supply_v))), high, meter))
    return found[0], found[1]


def _leak(board: BoardUnderMeter, meter: Meter) -> float:
    """The most that an electrolytic output capacitor's leakage adds at the unplugged jack, V."""
    coupling = board.assembly.coupling
    if not coupling:
        return 0.0
    rest = board.clip_v[1]
    worst = sum(abs(leakage(float(part.value), rest)[1]) for part in coupling)
    side = coupling[0].nodes[1]
    bleeds = [p for p in board.assembly.where("board") if p.kind == "resistor" and set(p.nodes) == {side, GROUND}]
    return worst / (sum(1 / float(part.value) for part in bleeds) + 1 / meter.input_ohm)


def ohms_at(
    network: Network, pairs: Sequence[tuple[str, str]], meter: Meter, reduced: bool | None = None, above: int = 0
) -> np.ndarray:
    """What a meter shows in ohm between each of several pairs of nodes (red, black), the pairs first, then the batch.

    It is taken on the lowest range that shows a number, or so many ranges `above` it as there are; inf where none does.
    reduced: see `probes.dead_at_probes`.
    """
    ranges = meter.ohm_ranges
    probes = [Probe(red, black, each.ohm, each.volt) for red, black in pairs for each in ranges]
    volt = dead_at_probes(network, probes, reduced).reshape(len(pairs), len(ranges), *network.batch_shape)
    top, open_v, own = (
        np.array([getattr(each, field) for each in ranges]).reshape(-1, *(1,) * len(network.batch_shape))
        for field in ("top", "volt", "ohm")
    )
    with np.errstate(divide="ignore"):
        ohms = np.where(open_v - volt > 0, volt * own / (open_v - volt), np.inf)
    shows = ohms <= top
    place = np.minimum(np.argmax(shows, axis=1) + above, len(ranges) - 1)[:, None]
    shown = np.any(shows, axis=1) & np.take_along_axis(shows, place, axis=1)[:, 0]
    return np.where(shown, np.take_along_axis(ohms, place, axis=1)[:, 0], np.inf)


def percentiles(values: np.ndarray) -> tuple[float, float]:
    """1st and 99th percentile over builds (the last axis), the widest over all else."""
    if values.ndim == 0:
        return float(values), float(values)
    low, high = np.percentile(values, [1, 99], axis=-1, method="nearest")
    return float(np.min(low)), float(np.max(high))


def _widened(low: float, typical: float, high: float, meter: Meter) -> Expected:
    return Expected(
        low - float(meter.error(low, meter.volt_digit(low))),
        typical,
        high + float(meter.error(high, meter.volt_digit(high))),
    )


def _over(ohm: float, meter: Meter) -> float:
    return float("inf") if ohm > meter.ohm_max else float(ohm)


__all__ = [
    "BEEPS_BELOW", "Expected", "LaneOhms", "LaneVolts", "Meter", "TransistorCheck", "jig_volts", "meter_ohms",
    "meter_volts", "ohms_at", "ohms_expected", "percentiles", "transistor_check",
]  # fmt: skip
