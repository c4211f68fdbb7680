"""The stage while its battery runs down, and how long that takes.

Discharge: the voltage at the clip falls in a straight line over the charge taken, from the battery's fresh voltage to
its end voltage; the whole charge is the capacity stated for the current of the moment:
dt = C(I(v))/I(v) dv/(fresh - end). An assumption, for steady drains at room temperature: a real alkaline battery falls
faster at first, a lithium one last. Playing does not change the mean current while the stage stays in class A.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from piezolab import catalogue
from piezolab.catalogue import HOURS_A_YEAR
from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.giving_way import give_way
from piezolab.studies.bias import Bias, bias_of
from piezolab.studies.linear import LinearChain
from piezolab.studies.swing import swing

POINTS = 61
_COARSE = 13  # voltages at which many builds are looked at
END_VOLTAGE, SATURATION, CLIPPING, SHELF = "end voltage", "leaving saturation", "clipping", "shelf life"
_AUDIO = np.geomspace(20.0, 20e3, 40)  # Hz
_LOW = np.geomspace(1e-2, 20.0, 67)[:-1]  # Hz, twenty points a decade


@dataclass(frozen=True)
class BatteryLife:
    """life_h: hours from fresh to the earliest end; ends_by: `end voltage`, `leaving saturation`, `clipping` (a clip
    edge of the stage under `play_v`) or `shelf life`; end_v: voltage of the battery then; hours: of each end alone, inf
    where it does not come before the battery is spent; in_series: how many batteries of the kind the supply voltage
    stands for (1 unless it is above what a fresh one gives)."""

    life_h: float
    ends_by: str
    end_v: float
    hours: Mapping[str, float]
    in_series: float


@dataclass(frozen=True)
class Fading:
    """The stage over the battery's voltage, fresh to spent; all arrays (POINTS,).

    supply_v: V, falling; hours: since fresh, h; bias: operating points; gain_1khz: ratio; low_corner_hz: where the
    gain is 1/sqrt(2) of the largest between 20 Hz and 20 kHz, nan where it is not above 10 mHz; up, down: the stage's
    clip edges as pickup voltages, V, both positive.
    """

    supply_v: np.ndarray
    hours: np.ndarray
    bias: Bias
    gain_1khz: np.ndarray
    low_corner_hz: np.ndarray
    up: np.ndarray
    down: np.ndarray


def battery_range(chain: SignalChain) -> tuple[float, float, float] | None:
    """Fresh and end voltage in V, and how many batteries in series those are; None for an adapter or with no stage."""
    if chain.supply == "adapter" or not chain.topology.powered:
        return None
    kind = catalogue.batteries()[chain.supply]
    in_series = chain.supply_v / kind.nominal_v if chain.supply_v > kind.fresh_v else 1.0
    return kind.fresh_v * in_series, kind.end_v * in_series, in_series


def battery(chain: SignalChain) -> BatteryLife | None:
    """How long the battery serves this chain; None for an adapter or with no stage."""
    found = battery_range(chain)
    if found is None:
        return None
    fresh, end, in_series = found
    kind = catalogue.batteries()[chain.supply]
    supply_v = np.linspace(fresh, end, 2 * POINTS - 1)
    hours = _hours(chain, supply_v)
    low = {
        SATURATION: _first(chain.values, supply_v, lambda linear: linear.saturated),
        CLIPPING: _first(chain.values, supply_v, lambda linear: swing(linear).headroom >= chain.play_v),
        END_VOLTAGE: end,
    }
    ends = {cause: float(np.interp(-v, -supply_v, hours)) if v is not None else np.inf for cause, v in low.items()}
    ends[SHELF] = kind.shelf_years * HOURS_A_YEAR
    ends_by = min(ends, key=ends.__getitem__)
    life = ends[ends_by]
    return BatteryLife(life, ends_by, float(np.interp(life, hours, supply_v)), MappingProxyType(ends), in_series)


def fading(chain: SignalChain) -> Fading | None:
    """The stage at falling battery voltages; None for an adapter or with no stage."""
    found = battery_range(chain)
    if found is None:
        return None
    supply_v = np.linspace(*found[:2], POINTS)
    values = chain.values.but(supply_v=supply_v)
    linear = LinearChain.of(values)
    edges = swing(linear)
    gain = np.abs(linear.gain(np.array([1000.0])))[:, 0]
    return Fading(
        supply_v, _hours(chain, supply_v), bias_of(values), gain, low_corners(linear), edges.up, edges.down
    )


def _hours(chain: SignalChain, supply_v: np.ndarray) -> np.ndarray:
    """Hours since fresh at each of the falling voltages, by the trapezoidal rule."""
    return _hours_of(chain.values, chain.supply, supply_v)


def _hours_of(values: Values, supply: str, supply_v: np.ndarray) -> np.ndarray:
    """The same of builds that broadcast against the voltages, which fall along the first axis."""
    kind = catalogue.batteries()[supply]
    current = bias_of(values.but(supply_v=supply_v)).supply_current
    per_volt = kind.capacity_ah(current) / np.maximum(current, 1e-12) / (supply_v[0] - supply_v[-1])
    steps = 0.5 * (per_volt[1:] + per_volt[:-1]) * -np.diff(supply_v, axis=0)
    return np.concatenate([np.zeros((1, *steps.shape[1:])), np.cumsum(steps, axis=0)])


def lives(chain: SignalChain, values: Values, size: int) -> np.ndarray | None:
    """How long the battery serves each of `size` builds of a chain, h, (size,): to the same ends as `battery`, within
    two hundredths of the time to the end voltage. None for an adapter and with no stage."""
    found = battery_range(chain)
    if found is None:
        return None
    fresh, end = found[:2]
    steps = np.linspace(fresh, end, _COARSE)[:, None]
    hours = np.broadcast_to(_hours_of(values, chain.supply, steps), (_COARSE, size))

    def first_bad(of: Values, supply_v: np.ndarray) -> np.ndarray:
        """Of falling voltages (P, n): the first at which a build is no longer good, P where it stays good."""
        linear = LinearChain.of(of.but(supply_v=supply_v))
        good = np.broadcast_to(linear.saturated & (swing(linear).headroom >= of.play_v), supply_v.shape)
        give_way()
        return np.where(good.all(axis=0), len(supply_v), np.argmin(good, axis=0))

    place = np.full(size, _COARSE - 1.0)
    ends = np.broadcast_to(steps[[0, _COARSE // 2, -1]], (3, size))
    failing = np.flatnonzero(first_bad(values, ends) < 3)  # most builds serve to the end
    if len(failing):
        some, count = values.but(**{key: each[failing] for key, each in _arrays(values, size).items()}), len(failing)
        at = first_bad(some, np.broadcast_to(steps, (_COARSE, count)))
        # once more within the step in which a build fails; nothing of it in those that fail when fresh
        high, width = steps[np.clip(at - 1, 0, _COARSE - 2), 0], (fresh - end) / (_COARSE - 1)
        part = np.linspace(0.0, 1.0, _COARSE)[:, None]
        within = np.clip(first_bad(some, high - part * width), 1, _COARSE - 1) / (_COARSE - 1)
        place[failing] = np.where(at == 0, 0.0, np.where(at == _COARSE, _COARSE - 1.0, at - 1 + within))
    whole = np.clip(place.astype(int), 0, _COARSE - 2)
    rows = np.arange(size)
    life = hours[whole, rows] + (place - whole) * (hours[whole + 1, rows] - hours[whole, rows])
    return np.minimum(life, catalogue.batteries()[chain.supply].shelf_years * HOURS_A_YEAR)


def _arrays(values: Values, size: int) -> dict[str, np.ndarray]:
    """What differs between the builds of a batch, each (size,)."""
    arrays = {key: each for key, each in values.as_dict().items() if isinstance(each, np.ndarray)}
    return {key: np.broadcast_to(each, (size,)) for key, each in arrays.items() if key != "supply_v"}


def _first(values: Values, supply_v: np.ndarray, good: Callable[[LinearChain], np.ndarray]) -> float | None:
    """The highest of the falling voltages at which it is no longer good, to a thousandth of a step; None where it
    stays good."""
    for _ in range(3):
        bad = np.flatnonzero(~np.asarray(good(LinearChain.of(values.but(supply_v=supply_v)))))
        if not bad.size:
            return None
        first = bad[0]
        if first == 0:
            break
        high, low = supply_v[first - 1], supply_v[first]
        supply_v = np.linspace(high, low, 33)
    return float(supply_v[0] if first == 0 else low)


def low_corners(linear: LinearChain) -> np.ndarray:
    """Low corner in Hz as `response.response` has it, for a batch of one axis, nan where there is none; straight in the
    logarithms between the grid's points."""
    frequency = np.concatenate([_LOW, _AUDIO])
    level = np.log(np.maximum(np.abs(linear.gain(frequency)), 1e-30))
    inside = level[:, len(_LOW) :]
    peak = len(_LOW) + np.argmax(inside, axis=1)
    wanted = inside.max(axis=1) - 0.5 * np.log(2)
    below = (level < wanted[:, None]) & (np.arange(len(frequency)) < peak[:, None])
    last = np.where(below.any(axis=1), len(frequency) - 1 - np.argmax(below[:, ::-1], axis=1), -1)
    rows, at = np.arange(len(level)), np.maximum(last, 0)
    rise = level[rows, at + 1] - level[rows, at]
    part = (wanted - level[rows, at]) / np.where(rise == 0, 1.0, rise)
    steps = np.log(frequency)
    return np.where(last >= 0, np.exp(steps[at] + part * (steps[at + 1] - steps[at])), np.nan)
