"""What gives more room before clipping: each change is made and the room computed again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.levels import levels

PAD_OHM = 22e3  # resistance of a pad, series and shunt together


@dataclass(frozen=True)
class Change:
    """One change: name, what it changes in the chain, and the room for hard playing after it less that before, dB."""

    name: str
    changes: Mapping[str, Any]
    more_db: float


def more_room(chain: SignalChain) -> tuple[Change, ...]:
    """Changes that keep the stage working and give more room, the most helpful first; none without a signal.

    Names: `half source resistor`, `double source resistor`, `tap`, `divider`, `half drain resistor`, `no bypass`,
    `follower`, `pad`.
    """
    before = float(levels(chain).input_headroom_db)
    if not abs(before) < float("inf"):
        return ()
    found = []
    for name, changes in _candidates(chain).items():
        then = chain.but(changes)
        if then.topology.powered:
            at_rest = bias(then)
            if str(at_rest.region) != "saturation" or str(at_rest.gate) != "ok":
                continue
        more = float(levels(then).input_headroom_db) - before
        if more > 0:
            found.append(Change(name, changes, more))
    return tuple(sorted(found, key=lambda change: -change.more_db))


def _candidates(chain: SignalChain) -> dict[str, dict[str, Any]]:
    made: dict[str, dict[str, Any]] = {}
    if chain.pad is None:
        made["pad"] = {"pad": (PAD_OHM / 2, PAD_OHM / 2)}
    if not chain.topology.powered:
        return made
    if 2e-3 < chain.source_r <= 5e6:
        made["half source resistor"] = {"source_r": chain.source_r / 2}
        made["double source resistor"] = {"source_r": chain.source_r * 2}
        if chain["return"] != "tap":
            made["tap"] = {"return": "tap", "return_part": 0.5}
    if chain["return"] != "divider":
        made["divider"] = {"return": "divider", "return_part": 0.5}
    if chain.stage == "gain":
        made["follower"] = {"stage": "follower", "source_r": None, "drain_r": None, "bypass_c": None}
        if chain.drain_r > 0:
            made["half drain resistor"] = {"drain_r": chain.drain_r / 2}
        if chain.bypass_c > 0:
            made["no bypass"] = {"bypass_c": 0.0}
    return made
