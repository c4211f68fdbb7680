"""What a sweep says about values nobody measured, with how well it tells them apart.

Least squares in the logarithms of the values (Gauss and Newton), level and delay free where they are not known. Which
values the measurement separates shows in the covariance: two that only their product fixes have large intervals each
and a small one together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.audio import AudioError
from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.circuit.errors import CircuitError
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.sweep_against import SetUp, aligned, as_swept, predicted
from piezolab.studies.recordings.swept import SweptTake

#: What may be asked for, in this order: link keys.
UNKNOWNS = ("pickup_c", "gate_r", "jfet_vgsoff")
#: An interval so wide either way, as a ratio, still counts as told apart.
APART = 1.2
#: How far a twelfth of an octave may be off besides noise, dB: parts' losses, contacts, the method. An assumption.
OWN_DB = 0.1
_PER_ERROR = 12.0  # neighbouring points that share an error: an octave's, an assumption
_STEP = 1e-3
_ROUNDS = 12
#: Before the sweep a value is known within this ratio (its standard deviation): an assumption, so that what the sweep
#: does not tell stays where it was.
_BEFORE = np.log(10.0)
_FURTHEST = np.log(3.0)  # in one step
_WIDEST = np.log(1e4)  # of an interval


@dataclass(frozen=True)
class ChainFit:
    """What was fitted.

    keys: asked for; values: each with its interval, SI; apart: by key, whether it is told by itself; product: keys of
    two that only together are told, and their product with its interval, or None; left_db: rms of what the fit leaves,
    dB; edge: keys that ended at the end of what their control allows.
    """

    keys: tuple[str, ...]
    values: dict[str, Estimate]
    apart: dict[str, bool]
    product: tuple[str, str, Estimate] | None
    left_db: float
    edge: tuple[str, ...]

    @property
    def usable(self) -> tuple[str, ...]:
        """Keys that are told by themselves and belong to the chain; the capacitor stood there for the sweep only."""
        return tuple(key for key in self.keys if self.apart[key] and key != "pickup_c")

    def differs(self, chain: SignalChain) -> bool:
        """Whether a usable value is further from the chain's than a fiftieth."""
        return any(abs(np.log(abs(getattr(chain.values, key)) / self.values[key].value)) > 0.02 for key in self.usable)

    def into(self, chain: SignalChain) -> SignalChain:
        """The chain with the usable values, of three digits; with V_GS(off) goes I_DSS, as in the type's population."""
        return _with(chain, {key: float(f"{self.values[key].value:.3g}") for key in self.usable})


def chain_fit(take: SweptTake, chain: SignalChain, set_up: SetUp, keys: Sequence[str]) -> ChainFit:
    """Fit values of the chain, some of `UNKNOWNS`; `pickup_c` is then the capacitor in the pickup's place.

    Raises AudioError with a sentence where the chain lacks them or nothing can be fitted.
    """
    keys = tuple(key for key in UNKNOWNS if key in keys)
    _check(keys, chain)
    base = as_swept(chain, set_up.capacitor)
    counts = take.looped and set_up.alike
    start = np.log([abs(float(getattr(base.values, key))) for key in keys])
    ends = np.log([_ends(key) for key in keys]).T
    sigma = np.hypot(take.half_db / 1.96, OWN_DB)
    weight = np.concatenate([1 / sigma, 1 / np.radians(sigma * 6.6)])  # 1 dB is as rare as 6.6 degrees

    def left(at: np.ndarray) -> np.ndarray:
        wanted = predicted(_with(base, dict(zip(keys, map(float, np.exp(at)), strict=True))), take.hz)
        response, _, _ = aligned(take.response, wanted, take.hz)
        ratio = response / wanted
        level = 20 * np.log10(np.abs(ratio))
        if not counts:
            level = level - (level / sigma**2).sum() / (1 / sigma**2).sum()
        return np.concatenate([weight * np.concatenate([level, np.angle(ratio)]), (at - start) / _BEFORE])

    at, slope, rest = _solved(left, start, ends)
    rest, slope = rest[: len(weight)], slope[: len(weight)]
    scale = max(float((rest**2).mean()), 1.0) * _PER_ERROR
    covariance = np.linalg.inv(slope.T @ slope / scale + np.eye(len(keys)) / _BEFORE**2)
    half = np.minimum(1.96 * np.sqrt(np.diag(covariance)), _WIDEST)
    edge = tuple(key for n, key in enumerate(keys) if min(at[n] - ends[0][n], ends[1][n] - at[n]) < 1e-6)
    values = {key: _estimate(at[n], half[n]) for n, key in enumerate(keys)}
    apart = {key: bool(half[n] <= np.log(APART)) and key not in edge for n, key in enumerate(keys)}
    return ChainFit(
        keys, values, apart, _product(keys, at, covariance, apart), float(np.sqrt((rest**2).mean())) * OWN_DB, edge
    )


def _check(keys: tuple[str, ...], chain: SignalChain) -> None:
    if not keys:
        raise AudioError("fit: nothing is asked for; one or more of capacitor, gate resistor, V_GS(off) is allowed.")
    if not chain.topology.powered:
        raise AudioError("stage: the chain has none, so it has no gate resistor and no transistor to be fitted.")


def _ends(key: str) -> tuple[float, float]:
    parameter = all_parameters()[key]
    low, high = (abs(float(one)) for one in (parameter.low, parameter.high))
    return (0.1, 15.0) if key == "jfet_vgsoff" else (low, high)


def _with(base: SignalChain, changes: dict[str, float]) -> SignalChain:
    changes = dict(changes)
    if "jfet_vgsoff" in changes:
        # within a type I_DSS goes with it, by a slope of the square law that varies little (see `studies.population`)
        then = abs(float(base.values.jfet_vgsoff))
        changes["jfet_idss"] = float(base.values.jfet_idss) * (changes["jfet_vgsoff"] / then) ** 2
    return base.but(changes)


def _solved(left, start: np.ndarray, ends: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where the weighted rest is least, its slopes and itself there."""
    at = np.clip(start, *ends)
    rest = left(at)
    slope = np.empty((len(rest), len(at)))
    for _ in range(_ROUNDS):
        for n in range(len(at)):
            step = np.zeros(len(at))
            step[n] = _STEP if at[n] + _STEP <= ends[1][n] else -_STEP
            slope[:, n] = (left(at + step) - rest) / step[n]
        change = -np.linalg.lstsq(slope, rest, rcond=1e-8)[0]
        change *= min(1.0, _FURTHEST / max(float(np.abs(change).max()), 1e-12))
        better = None
        for part in (1.0, 0.5, 0.2, 0.05):
            trial = np.clip(at + part * change, *ends)
            try:
                found = left(trial)
            except CircuitError:
                continue
            if (found**2).sum() < (rest**2).sum():
                better = trial, found
                break
        if better is None:
            break
        moved = float(np.abs(better[0] - at).max())
        at, rest = better
        if moved < 1e-6:
            break
    return at, slope, rest


def _estimate(at: float, half: float) -> Estimate:
    return Estimate(*(float(np.exp(at + part * half)) for part in (0, -1, 1)))


def _product(
    keys: tuple[str, ...], at: np.ndarray, covariance: np.ndarray, apart: dict[str, bool]
) -> tuple[str, str, Estimate] | None:
    """Capacitance times gate resistor, where both are asked for and only that is told."""
    if not {"pickup_c", "gate_r"} <= set(keys) or (apart["pickup_c"] and apart["gate_r"]):
        return None
    both = np.array([float(key in ("pickup_c", "gate_r")) for key in keys])
    half = 1.96 * float(np.sqrt(both @ covariance @ both))
    return ("pickup_c", "gate_r", _estimate(float(both @ at), half)) if half <= np.log(APART) else None
