"""First power: the board meets its battery through a resistor that makes every mistake harmless, and tells them apart.

The resistor sits at the battery contact itself, before switch and all other parts; the meter across it reads current.
Bands are the 1st to the 99th percentile over parts and resistor tolerance, from the spent to the fresh battery.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND
from piezolab.circuit.elements import Capacitor, CurrentSource
from piezolab.circuit.network import Network
from piezolab.circuit.small_signal import linearised, transfers_of_each
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.kept import kept
from piezolab.studies.led import Led
from piezolab.studies.metering.board_under_meter import (
    CLIP,
    BoardUnderMeter,
    fed,
    under_meter,
)
from piezolab.studies.metering.expected import Expected, meter_ohms, meter_volts
from piezolab.studies.metering.first_power_faults import Fault, pin_orders, shorted, shorts, with_legs
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.metering.probes import Probe, fed_at_probes
from piezolab.studies.metering.sound_board import clip_readings

SERIES_OHM = 1e3
SERIES_TOLERANCE = 0.05
SETTLED = 5.0  # time constants: 0.7 % is left
WATT_SIZES = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
FULL = 0.9  # part of the battery's voltage across the resistor that counts as a dead short
LEAD_OHM = 0.05  # of clip and wires round a short
SCHOTTKY_LEAK_A = (1e-6, 1e-4)  # reversed, at battery voltage; common practice, no source
BUILDS = 1000  # for the healthy band
_EXAMPLES = 24  # of these, evenly over what the healthy board reads, and the extremes of the type, for each fault


@dataclass(frozen=True)
class OtherTest:
    """A test that separates a fault from a healthy board.

    kind: ohms (between lanes a and b, power off), volts (at lane a, with the resistor still in: wrong legs may let a
    current through a gate that would destroy it) or transistor (out of the board); sound, faulty: what it reads, ohm
    or V.
    """

    kind: str
    a: str = ""
    b: str = ""
    sound: Expected | None = None
    faulty: Expected | None = None


@dataclass(frozen=True)
class FaultBand:
    """What the resistor shows with a fault, V.

    verdict: `low`, `high`, `full` (near the full battery), `harmless` (works as well) or `cannot tell`; test: the one
    that can, then.
    """

    fault: Fault
    band: Expected
    verdict: str
    test: OtherTest | None = None


@dataclass(frozen=True)
class ShortDraw:
    """A dead short without the resistor: ampere, and watt turned to heat inside the battery."""

    ampere: float
    watt: float


@dataclass(frozen=True)
class FirstPower:
    """The procedure's numbers.

    series_ohm and watt: the resistor, and what it must stand; watt_needed: at a dead short on a fresh battery; wait_s:
    until the reading has settled; healthy: V across the resistor; healthy_part: the same as a part of the battery's
    voltage; reversed: with the battery reversed, V; faults: every single short and wrong order of legs; clip_off,
    clip_on, clip_on_reversed: ohms at the clip's contacts, red on + and, reversed, on -; short: None for an adapter.
    """

    series_ohm: float
    watt_needed: float
    watt: float
    wait_s: float
    healthy: Expected
    healthy_part: Expected
    reversed: Expected
    faults: tuple[FaultBand, ...]
    clip_off: Expected
    clip_on: Expected
    clip_on_reversed: Expected
    clip_v: tuple[float, float]
    short: ShortDraw | None

    @cached_property
    def unseen(self) -> tuple[FaultBand, ...]:
        """Faults that this test cannot tell from a healthy board."""
        return tuple(band for band in self.faults if band.verdict == "cannot tell")

    @property
    def full_is_clear(self) -> bool:
        """Whether a healthy board always stays under what counts as a dead short."""
        return self.healthy_part.high < FULL


@kept(2)
def first_power(
    chain: SignalChain, schottky: bool = True, meter: Meter | None = None, led: Led | None = None
) -> FirstPower:
    """The first-power procedure of a chain. led: the light beside the board. Raises ValueError with no stage."""
    meter = meter or Meter()
    built = under_meter(chain, schottky, BUILDS, led=led)
    end, fresh = built.clip_v
    states = np.array([[end], [fresh]])
    rng = np.random.default_rng(5)
    series = SERIES_OHM * (1 + SERIES_TOLERANCE * rng.uniform(-1, 1, BUILDS))
    reading = _reading(built, built.network, states, series)
    some = _examples(built, reading[1])
    few = replace(built, network=built.network.take(some))
    of_few = series[some]
    typical = float(_reading(built, built.nominal, float(chain.supply_v), SERIES_OHM))
    healthy = _expected(reading, typical, meter)
    part = reading / states
    watt = max(fresh**2 / (SERIES_OHM * (1 - SERIES_TOLERANCE)), 1e-3)
    return FirstPower(
        SERIES_OHM,
        float(watt),
        next((size for size in WATT_SIZES if size >= 1.5 * watt), float(np.ceil(1.5 * watt))),
        _wait(built, float(chain.supply_v)),
        healthy,
        Expected(float(np.min(part)), typical / float(chain.supply_v), float(np.max(part))),
        _reversed(built, states, series, meter),
        (*_short_bands(few, states, of_few, healthy, meter), *_leg_bands(few, states, of_few, healthy, meter)),
        Expected(np.inf, np.inf, np.inf),
        *clip_readings(chain, schottky, meter),
        built.clip_v,
        _short_draw(chain),
    )


def _reading(
    built: BoardUnderMeter, network: Network, volt: np.ndarray | float, series: np.ndarray | float
) -> np.ndarray:
    return fed_at_probes(built, network, [Probe("cell", CLIP)], volt, series)[0]


def _expected(values: np.ndarray, typical: float, meter: Meter) -> Expected:
    low, high = (np.percentile(values, share, axis=-1, method="nearest") for share in (1, 99))
    low, high = float(np.min(low)), float(np.max(high))
    return Expected(
        low - float(meter.error(low, meter.volt_digit(low))),
        typical,
        high + float(meter.error(high, meter.volt_digit(high))),
    )


def _between(values: np.ndarray, meter: Meter) -> Expected:
    """From the least to the largest reading of the example builds."""
    low, high = float(np.min(values)), float(np.max(values))
    return Expected(
        low - float(meter.error(low, meter.volt_digit(low))),
        float(np.median(values)),
        high + float(meter.error(high, meter.volt_digit(high))),
    )


def _examples(built: BoardUnderMeter, reading: np.ndarray) -> np.ndarray:
    """Builds for the faults: evenly over the healthy reading, 1st to 99th percentile, and the type's extremes."""
    ranks = [reading]
    for jfet in built.network.channels:
        ranks += [np.broadcast_to(jfet.model.beta, reading.shape), np.broadcast_to(jfet.model.v_off, reading.shape)]
    shares = np.linspace(0.01, 0.99, _EXAMPLES)
    ends = np.array([0.01, 0.99])
    chosen = [
        np.argsort(each, kind="stable")[np.round((shares if n == 0 else ends) * (len(each) - 1)).astype(int)]
        for n, each in enumerate(ranks)
    ]
    return np.unique(np.concatenate(chosen))


def _wait(built: BoardUnderMeter, volt: float) -> float:
    """Time in s until the reading has settled: 5 times the sum of C R over all capacitors, R seen by each, others open.

    That sum is the sum of all time constants, so at least the slowest one (open-circuit time constants: R. D. Thornton
    et al., Multistage Transistor Circuits, 1965; from memory).
    """
    powered = fed(built, built.nominal, volt, SERIES_OHM)
    linear = linearised(powered.network, powered.point)
    parts = [element for element in linear if isinstance(element, Capacitor) and element.a != element.b]
    sends = [CurrentSource(f"into {part.name}", part.b, part.a) for part in parts]
    pairs = [(part.a, part.b) for part in parts]
    found = transfers_of_each(linear.plus(*sends), 0.0, [send.name for send in sends], pairs)
    return SETTLED * sum(float(part.farad) * abs(float(np.real(found[n][n]))) for n, part in enumerate(parts))


def _reversed(built: BoardUnderMeter, states: np.ndarray, series: np.ndarray, meter: Meter) -> Expected:
    """With the battery reversed, V: what the diode leaks, or what the stage lets through backwards."""
    if built.schottky:
        least, most = (-leak * SERIES_OHM for leak in SCHOTTKY_LEAK_A)
        return Expected(most, least, 0.0)
    reading = _reading(built, built.network, -states, series)
    return _expected(reading, float(np.median(reading)), meter)


def _short_bands(
    built: BoardUnderMeter, states: np.ndarray, series: np.ndarray, healthy: Expected, meter: Meter
) -> list[FaultBand]:
    faults = (Fault("short", CLIP, GROUND), *shorts(built))
    readings = _reading(built, shorted(built.network, faults), states, series)
    bands = [_between(reading, meter) for reading in readings]
    verdicts = [_verdict(band, reading / states, healthy) for band, reading in zip(bands, readings, strict=True)]
    unseen = [fault for fault, verdict in zip(faults, verdicts, strict=True) if verdict == "cannot tell"]
    tests = dict(zip(unseen, _short_tests(built, unseen, meter), strict=True))
    return [FaultBand(*each, tests.get(each[0])) for each in zip(faults, bands, verdicts, strict=True)]


def _verdict(band: Expected, part: np.ndarray, healthy: Expected) -> str:
    if band.low > healthy.high:
        return "full" if float(np.min(part)) >= FULL else "high"
    return "low" if band.high < healthy.low else "cannot tell"


def _short_tests(built: BoardUnderMeter, faults: list[Fault], meter: Meter) -> list[OtherTest | None]:
    """Ohms between the two lanes of each, power off."""
    if not faults:
        return []
    pairs = [pair for fault in faults for pair in ((fault.a, fault.b), (fault.b, fault.a))]
    ohms = [found.expected for found in meter_ohms(built, meter, pairs)]
    return [_short_test(fault, ohms[2 * n : 2 * n + 2], meter) for n, fault in enumerate(faults)]


def _short_test(fault: Fault, sound: list[Expected], meter: Meter) -> OtherTest | None:
    """What the short does to the ohms: near 0 with it."""
    low = min(each.low for each in sound)
    touch = float(meter.error(1.0, meter.ohm_digit(1.0))) + 1.0  # leads and a poor short
    if low <= touch:
        return None
    return OtherTest(
        "ohms", fault.a, fault.b, Expected(low, sound[0].typical, max(each.high for each in sound)),
        Expected(0.0, 0.2, touch),
    )  # fmt: skip


def _leg_bands(
    built: BoardUnderMeter, states: np.ndarray, series: np.ndarray, healthy: Expected, meter: Meter
) -> list[FaultBand]:
    found = []
    sound = None
    for fault in pin_orders(built):
        network = with_legs(built.network, fault)
        readings = _reading(built, network, states, series)
        band = _between(readings, meter)
        verdict = "harmless" if fault.order == "SGD" else _verdict(band, readings / states, healthy)
        test = None
        if verdict == "cannot tell":
            sound = sound or _volts(built, meter)
            wrong = replace(built, network=network, nominal=with_legs(built.nominal, fault))
            test = _volt_test(sound, _volts(wrong, meter))
        found.append(FaultBand(fault, band, verdict, test))
    return found


def _volts(built: BoardUnderMeter, meter: Meter) -> dict[str, Expected]:
    return {each.lane: each.expected for each in meter_volts(built, meter, SERIES_OHM)}


def _volt_test(sound: dict[str, Expected], faulty: dict[str, Expected]) -> OtherTest:
    """The lane whose volts lie farthest apart; where none does, the transistor by itself."""
    best: tuple[float, str] = (0.0, "")
    for lane, band in faulty.items():
        gap = max(band.low - sound[lane].high, sound[lane].low - band.high)
        best = max(best, (gap, lane))
    if not best[1]:
        return OtherTest("transistor")
    return OtherTest("volts", best[1], GROUND, sound[best[1]], faulty[best[1]])


def _short_draw(chain: SignalChain) -> ShortDraw | None:
    found = battery_range(chain)
    if found is None:
        return None
    fresh, _, in_series = found
    inside = catalogue.batteries()[chain.supply].r_fresh * in_series
    ampere = fresh / (inside + LEAD_OHM)
    return ShortDraw(ampere, ampere**2 * inside)
