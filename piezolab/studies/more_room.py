"""What gives more room before clipping: each change is made and the room computed again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.defaults import default
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages import stage_named
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
            if not bias(then).works:
                continue
        more = float(levels(then).input_headroom_db) - before
        if more > 0:
            found.append(Change(name, changes, more))
    return tuple(sorted(found, key=lambda change: -change.more_db))


def _candidates(chain: SignalChain) -> dict[str, dict[str, Any]]:
    """Changes of controls that the chain's stage has."""
    made: dict[str, dict[str, Any]] = {}
    stage = chain.topology
    if chain.pad is None:
        made["pad"] = {"pad": (PAD_OHM / 2, PAD_OHM / 2)}
    if not stage.powered:
        return made
    rest = stage.rest_key
    if stage.has(rest):
        low, high = all_parameters()[rest].low, all_parameters()[rest].high
        if max(2e-3, 2 * low) < chain[rest] <= high / 2:
            made["half source resistor"] = {rest: chain[rest] / 2}
            made["double source resistor"] = {rest: chain[rest] * 2}
            if stage.has("return") and rest == "source_r" and chain["return"] != "tap":
                made["tap"] = {"return": "tap", "return_part": 0.5}
    if stage.has("return") and chain["return"] != "divider":
        made["divider"] = {"return": "divider", "return_part": 0.5}
    if stage.inverts:
        made["follower"] = follower_instead(chain)
        if stage.has(stage.gain_key) and chain[stage.gain_key] > 0:
            made["half drain resistor"] = {stage.gain_key: chain[stage.gain_key] / 2}
        if stage.has("bypass_c") and chain.bypass_c > 0:
            made["no bypass"] = {"bypass_c": 0.0}
    return made


def follower_instead(chain: SignalChain) -> dict[str, Any]:
    """Changes that put a source follower in, back to its defaults wherever these are not the chain's stage's own."""
    follower, stage = {"stage": "follower"}, chain.topology
    keys = [control.key for control in stage_named("follower").controls]
    kept = [key for key in keys if stage.has(key) and default(key, follower) == default(key, {"stage": stage.key})]
    return {**follower, **{key: None for key in keys if key not in kept}}
