"""What following a clipping sound costs, against one pass of the linear response over it in the same run."""

import time
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest

from piezolab.audio import RATE
from piezolab.audio.processing import filtered
from piezolab.audio.strings import pluck
from piezolab.chain import SignalChain
from piezolab.studies.clipped_sound import clipped
from piezolab.studies.levels import levels
from piezolab.studies.linear import LinearChain
from piezolab.studies.listening import SOUNDS

SECONDS = 10.0


def _spent(work: Callable[[], object], rounds: int = 3) -> float:
    """Least processor time, s."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_ten_seconds_of_a_clipping_sound(stage: str, report: Callable[[str, dict[str, str]], None]) -> None:
    """At the clip edge and 12 dB around it; aim: about 2 s at a moderate level."""
    chain = SignalChain(stage=stage)
    linear, edge = LinearChain.of(chain.values), float(levels(chain).clip_input_v_peak)
    notes = np.concatenate([pluck(SOUNDS["lowest"].voice, 147.0, SECONDS / 4)] * 4)
    straight = _spent(lambda: filtered(notes, linear.gain))
    rows = {"linear": f"{straight:6.2f} s  {1.0:6.1f}"}
    for db in (-12, 0, 12):
        spent = _spent(partial(clipped, linear, edge * 10 ** (db / 20) * notes), 1)
        rows[f"{db:+d} dB"] = f"{spent:6.2f} s  {spent / straight:6.1f}"
        assert spent < 100 * straight
    report(f"{SECONDS:g} s at {RATE} samples a second, {stage}", rows)
