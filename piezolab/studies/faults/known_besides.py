"""What is known of a board without a meter: how probable each of `hearing.KNOWN` is for a fault."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from piezolab.studies.faults import hearing
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import knowledge


def seen_share(kind: str, spot: str) -> float:
    """How probable it is that an eye which compares the board with the drawing finds a fault: none inside a cable."""
    return 0.0 if spot == "cable" else knowledge().seen[kind]


def known_of(faults: Sequence[Hypothesis]) -> np.ndarray:
    """How surely each of `hearing.KNOWN` holds where one of these faults is there, (K, H)."""
    table = knowledge()
    rows = {
        hearing.WORKED: [table.worn[fault.kind] for fault in faults],
        hearing.KNOCKED: [table.knocked[fault.kind] for fault in faults],
        hearing.LOOKED: [1 - seen_share(fault.kind, fault.spot) for fault in faults],
        hearing.EXCHANGED: [float(fault.spot != "cable" and fault.kind != "flat") for fault in faults],
    }
    return np.array([rows[word] for word in hearing.KNOWN])
