"""Whether a knock exceeds a rating, for a fraction of the work of `knock`: what a search asks of many chains.

All shapes and both ways run at coarse steps with a gate that never breaks down; only where the outcome is near a limit
does the run that is worst for it decide, at fine steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.circuit.transient import Transient
from piezolab.studies.kept import kept
from piezolab.studies.knock import (
    KNOCK_V,
    SHAPES,
    STEPS,
    WAYS,
    knock_shape,
    knock_times,
    ratings,
    run_waves,
    through_clamps,
    within,
)
from piezolab.studies.linear import LinearChain

COARSE = 24  # steps in a period
NEAR, NEAR_A = 0.03, 0.25  # of a rating in V, in A; so near to it, a fine run decides
BEND = 2e-3  # of the peak, what a gate's current may bend in a coarse step
_PERIODS = 2  # the furthest swing of every shape is among them


@dataclass(frozen=True)
class QuickKnock:
    """V and A. gate_source_v, gate_drain_v: furthest under source and drain over shapes and ways; may_v, may_drain_v:
    the ratings; clamp_a, clamp_may_a: the most through a clamp, and what it may carry; fine: whether fine steps had to
    decide."""

    gate_source_v: float
    gate_drain_v: float
    may_v: float
    may_drain_v: float
    clamp_a: float
    clamp_may_a: float
    fine: bool

    @property
    def over_voltage(self) -> bool:
        """Whether a voltage rating of the transistor is exceeded."""
        return self.gate_source_v > self.may_v or self.gate_drain_v > self.may_drain_v

    @property
    def over_clamp(self) -> bool:
        """Whether more goes through a clamp than it may carry."""
        return self.clamp_a > self.clamp_may_a


@kept(2)
def quick_knock(chain: SignalChain, peak_v: float = KNOCK_V) -> QuickKnock | None:
    """What a knock of that open-circuit peak (V) does to the ratings; None with no stage. Raises CircuitError."""
    linear = LinearChain.of(chain.values)
    if linear.transistor is None:
        return None
    limits = np.array(ratings(linear.assembly))
    every = [(s, w) for s in range(len(SHAPES)) for w in range(len(WAYS))]
    run = _run(linear, COARSE, peak_v, every)
    reached = _reached(linear, run)
    clamps = through_clamps(chain, linear.assembly.network, run)
    near = np.abs(reached.max(axis=1) / limits - 1) < NEAR
    fine = bool(near.any()) or abs(clamps["clamp_a"] / clamps["clamp_may_a"] - 1) < NEAR_A
    furthest = reached.max(axis=1)
    if fine:
        worst = sorted({every[n] for n in (*reached.argmax(axis=1), _most_through(linear, run))})
        closer = _run(linear, STEPS, peak_v, worst)
        furthest = _reached(linear, closer).max(axis=1)
        clamps = through_clamps(chain, linear.assembly.network, closer)
    return QuickKnock(*map(float, (*furthest, *limits)), **clamps, fine=fine)


def _run(linear: LinearChain, steps: int, peak_v: float, which: list[tuple[int, int]]) -> Transient:
    """The runs of those shapes and ways, (N,), with a gate that never breaks down."""
    time = knock_times(steps, periods=_PERIODS, longest_s=0.0)

    bend_v = BEND * abs(peak_v) if steps == COARSE else within(peak_v)

    def waves(at: np.ndarray) -> np.ndarray:
        return peak_v * np.stack([WAYS[w] * knock_shape(at, SHAPES[s]) for s, w in which])

    return run_waves(linear, time, waves, 1.0, 1.0, np.array(np.inf), bend_v)[1]


def _reached(linear: LinearChain, run: Transient) -> np.ndarray:
    """Furthest under source, and under drain, of any transistor, V, by run, (2, N)."""
    inside = [run.inside[name] for name in linear.assembly.transistors]  # the steps are coarse: between them, too
    sides = ([-v_gs for v_gs, _ in inside], [v_ds - v_gs for v_gs, v_ds in inside])
    return np.stack([np.max(side, axis=(0, -1)) for side in sides])


def _most_through(linear: LinearChain, run: Transient) -> int:
    """Which run sends most through a clamp; the first where there is none."""
    clamps = [name for name in run.jfets if name not in linear.assembly.transistors]
    return int(np.argmax(np.max([np.abs(run.jfets[name].i_g) for name in clamps], axis=(0, -1)))) if clamps else 0
