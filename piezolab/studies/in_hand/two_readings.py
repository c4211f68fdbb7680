"""The transistor in hand from two readings: best estimate, and ranges that hold whatever was off within its limits."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.defaults import MEASURED_VDS
from piezolab.circuit.jfet import Value, jfet_from_sheet
from piezolab.studies.in_hand.reading_problems import impossible, not_small, out_of_range
from piezolab.studies.in_hand.source_voltages import LAMBDA_RANGE, METER_OHM, Accuracy, Readings, square_law

__all__ = [
    "LAMBDA_RANGE",
    "METER_OHM",
    "Accuracy",
    "Readings",
    "TransistorInHand",
    "characterise",
    "square_law",
    "two_readings",
    "with_transistor",
]

_STEPS = {"reading": 5, "supply": 3, "lambda": 9}
_PAD = 0.02  # of the range found: more than a parabola can hide between the steps


@dataclass(frozen=True)
class TransistorInHand:
    """What the readings say, at 25 degC. idss: A at `vds` V; vgsoff: V, negative; lambda_: 1/V, as assumed.

    idss_range, vgsoff_range: (low, high) in A and V; whatever the true resistors, voltages and lambda within their
    limits were, the true value lies inside. An end is infinite where the readings cannot tell. triode: whether the
    channel of the first and of the second reading was in the triode region. Arrays of the readings' shape.
    """

    idss: np.ndarray
    vds: float
    vgsoff: np.ndarray
    lambda_: np.ndarray
    idss_range: tuple[np.ndarray, np.ndarray]
    vgsoff_range: tuple[np.ndarray, np.ndarray]
    triode: tuple[np.ndarray, np.ndarray]

    @property
    def decided(self) -> np.ndarray:
        """Whether both ranges have ends."""
        return np.isfinite(self.idss_range[1]) & np.isfinite(self.vgsoff_range[0])


def _at_25(readings: Readings, beta: Value, u: Value, lambda_: Value, vds: float) -> tuple[np.ndarray, np.ndarray]:
    """I_DSS in A at vds and V_GS(off) in V, both at 25 degC."""
    unit = jfet_from_sheet(idss=1.0, vgsoff=1.0, temp_c=readings.temp_c)
    u = np.asarray(u) + (unit.v_off + 1.0)
    with np.errstate(invalid="ignore", over="ignore"):
        return np.asarray(beta) / unit.beta * u**2 * (1 + lambda_ * vds), -u


def characterise(
    readings: Readings, accuracy: Accuracy | None = None, lambda_: Value | None = None, vds: float = MEASURED_VDS
) -> TransistorInHand:
    """What readings of any shape say; nan where they are impossible (`two_readings` says why instead).

    The ranges exist as long as readings within the accuracy are possible.

    lambda_: the best guess in 1/V, by default the middle of the accuracy's range; vds: V at which I_DSS is stated.
    """
    accuracy = accuracy or Accuracy()
    low, high = accuracy.lambda_range
    best = np.asarray(0.5 * (low + high) if lambda_ is None else lambda_, float)
    shape = np.broadcast_shapes(best.shape, *(np.shape(value) for value in vars(readings).values()))
    readings = Readings(**{key: np.broadcast_to(value, shape) for key, value in vars(readings).items()})
    best = np.broadcast_to(best, shape)
    beta, u = square_law(readings, best)
    idss, vgsoff = _at_25(readings, beta, u, best, vds)
    triode = tuple(u > readings.supply_v - i * readings.drain_r for i in readings.currents)
    idss_range, vgsoff_range = _ranges(readings, accuracy, np.minimum(low, best), np.maximum(high, best), vds)
    return TransistorInHand(idss, vds, vgsoff, best, idss_range, vgsoff_range, triode)


def _ranges(
    readings: Readings, accuracy: Accuracy, lambda_low: np.ndarray, lambda_high: np.ndarray, vds: float
) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Ranges of I_DSS and V_GS(off) over all that may be off.

    In the plane of u and ln(beta) each reading is a falling curve, the second steeper in every region. More voltage or
    less resistance raises a curve, so the crossings of the outermost curves are the extremes of u always, and of I_DSS
    in saturation. For I_DSS in the triode region, for the supply and for lambda, steps between are taken as well.
    """
    off = 1e-2 * accuracy.resistor_percent

    def between(a: np.ndarray, b: np.ndarray, axis: int, steps: int) -> np.ndarray:
        part = np.linspace(0.0, 1.0, steps).reshape(-1, *(1,) * axis, *(1,) * np.ndim(a))
        return a + (b - a) * part

    def doubt(v: np.ndarray, digit: float) -> np.ndarray:
        return 0.5 * digit + 1e-2 * accuracy.meter_percent * np.abs(v)

    def reading(v: np.ndarray, r: np.ndarray, axis: int) -> tuple[np.ndarray, np.ndarray]:
        steps, width = _STEPS["reading"], doubt(v, accuracy.digit_v)
        conductance = between(1 / (r * (1 + off)), 1 / (r * (1 - off)), axis, steps)
        with np.errstate(divide="ignore"):
            return between(np.maximum(v - width, 0.0), v + width, axis, steps), 1 / conductance

    v1, r1 = reading(readings.v1, readings.r1, 0)
    v2, r2 = reading(readings.v2, readings.r2, 1)
    digit = accuracy.digit_v if accuracy.supply_digit_v is None else accuracy.supply_digit_v
    width = doubt(readings.supply_v, digit)
    supply = between(readings.supply_v - width, readings.supply_v + width, 2, _STEPS["supply"])
    lambda_ = between(lambda_low, lambda_high, 3, _STEPS["lambda"])
    drain_r = readings.drain_r
    if np.any(drain_r > 0) and off:
        drain_r = between(drain_r * (1 - off), drain_r * (1 + off), 4, 2)
    cases = Readings(r1, v1, r2, v2, supply, drain_r, readings.meter_r, readings.temp_c)
    beta, u = square_law(cases, lambda_)
    # without a crossing: readings alike leave V_GS(off) at the reading and I_DSS without end, others leave both open
    alike = np.broadcast_to(v2 <= v1, u.shape)
    lost = np.isnan(u)
    none = lost.all(axis=tuple(range(u.ndim - np.ndim(readings.v1))))
    u = np.where(lost, np.where(alike, np.broadcast_to(v2, u.shape), np.inf), u)
    idss, vgsoff = _at_25(cases, beta, u, lambda_, vds)
    idss = np.where(lost, np.inf, idss)
    axes = tuple(range(u.ndim - np.ndim(readings.v1)))

    def ends(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        low, high = values.min(axis=axes), values.max(axis=axes)
        with np.errstate(invalid="ignore"):
            pad = np.where(np.isfinite(high - low), _PAD * (high - low) + 1e-12 * np.abs(low), 0.0)
        return np.where(none, np.nan, low - pad), np.where(none, np.nan, high + pad)

    return ends(idss), ends(vgsoff)


def two_readings(
    readings: Readings, accuracy: Accuracy | None = None, lambda_: float | None = None, vds: float = MEASURED_VDS
) -> TransistorInHand:
    """The transistor behind one pair of readings, in either order. Raises ChainError with the reason where there is
    none, or where the readings are further from a small transistor than the keys of a chain allow."""
    accuracy = accuracy or Accuracy()
    if np.isfinite(readings.r1) and readings.r1 > readings.r2:
        readings = replace(readings, r1=readings.r2, v1=readings.v2, r2=readings.r1, v2=readings.v1)
    best = float(np.mean(accuracy.lambda_range)) if lambda_ is None else lambda_
    problems = out_of_range(readings) or impossible(readings, accuracy, best)
    if problems:
        raise ChainError(problems)
    found = characterise(readings, accuracy, best, vds)
    problems = not_small(float(found.idss), float(found.vgsoff), readings)
    if problems:
        raise ChainError(problems)
    return found


def with_transistor(
    chain: SignalChain, *, idss: float, vgsoff: float, vds: float = MEASURED_VDS, lambda_: float | None = None
) -> SignalChain:
    """The chain with a measured transistor: I_DSS in A, the V_DS at which it was taken in V, V_GS(off) in V, and lambda
    in 1/V if it is known. Four figures are kept. Raises ChainError."""
    entered = {"jfet_idss": idss, "jfet_vds": vds, "jfet_vgsoff": vgsoff, "jfet_lambda": lambda_}
    return chain.but({key: value if value is None else float(f"{value:.4g}") for key, value in entered.items()})
