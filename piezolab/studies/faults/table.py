"""The table of simulated readings that a diagnosis compares with what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import Limits
from piezolab.studies.faults.readings import Check
from piezolab.studies.metering.expected import Expected
from piezolab.studies.metering.instrument import Meter


@dataclass(frozen=True, eq=False)
class FaultTable:
    """Simulated readings of P builds.

    diode: whether one is built in against a reversed battery; fed: places where a healthy build has the battery's plus;
    most_v: the most volts, either way, that can be read on this board; sound: what the build sheet expects, by kind and
    place, V or ohm (`metering.sound_board`).

    hypotheses, prior: the single faults, "healthy" first, each with as many builds, and their prior probability, (H,);
    spots: names; spot_of: spot of each hypothesis; of_hypothesis, spot: by build, (P,); weight: prior probability of
    each build, (P,), sums to 1; checks: what can be read, numeric ones first (M of them), the tone by ear last; value,
    width: simulated reading on the scale of `readings.scaled`, and bandwidth, (M, P); neighbours: of each check those
    that a slip of the probe would read instead; resolved: whether the meter resolves the sound reading; dangerous:
    builds from whose battery more than the limit flows; heard (W, P), tone (4, P): see `hearing`; known: how surely
    each of `hearing.KNOWN` holds, (K, P).
    """

    chain: SignalChain
    meter: Meter
    diode: bool
    fed: tuple[str, ...]
    most_v: float
    sound: Mapping[tuple[str, str], Expected]
    limits: Limits
    hypotheses: tuple[Hypothesis, ...]
    prior: np.ndarray
    spots: tuple[str, ...]
    spot_of: np.ndarray
    of_hypothesis: np.ndarray
    spot: np.ndarray
    weight: np.ndarray
    checks: tuple[Check, ...]
    value: np.ndarray
    width: np.ndarray
    neighbours: tuple[tuple[int, ...], ...]
    resolved: np.ndarray
    dangerous: np.ndarray
    heard: np.ndarray
    tone: np.ndarray
    known: np.ndarray

    def index(self, check: Check) -> int:
        """Row of a numeric check. Raises ValueError."""
        return self.checks.index(check)
