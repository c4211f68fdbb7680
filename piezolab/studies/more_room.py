"""What gives more room before clipping: each change is made and the whole wish judged again.

A change counts where hard playing has at least half a decibel more room (of which enough is enough, see
`judging.wish`), the stage works, and the wish as a whole is served no worse. Where the input clips first, only less
level can help, and the wish for level is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.defaults import default
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages import stage_named
from piezolab.studies.choosing.build_figures import room_of, whole_figures
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import (
    ENOUGH_DB,
    STEP_DB,
    BuildFigures,
    Wish,
    benefits,
    costs,
    judged_figures,
    margins,
)
from piezolab.studies.kept import kept
from piezolab.studies.response import low_note_hz

PAD_OHM = 22e3  # resistance of a pad, series and shunt together
_ROOM = "headroom_db"


@dataclass(frozen=True)
class Change:
    """One change: name, and what it changes in the chain. before, after: the figures (see `judging.wish`); costs:
    wishes that it would miss instead."""

    name: str
    changes: Mapping[str, Any]
    before: BuildFigures
    after: BuildFigures
    costs: tuple[str, ...]

    @property
    def more_db(self) -> float:
        """Room for hard playing after it less that before, dB."""
        return float(self.after.headroom_db - self.before.headroom_db)


@kept(2)
def more_room(chain: SignalChain, wish: Wish | None = None) -> tuple[Change, ...]:
    """Changes that keep the stage working and give more room, the most helpful first; none without a signal.

    Names: `half source resistor`, `double source resistor`, `tap`, `divider`, `half drain resistor`, `no bypass`,
    `follower`, `pad`.
    """
    wish, judged = wish or Wish(), judgement(chain)
    if judged.edges.input_first:
        wish = replace(wish, gain_db=None)
    before = judged_figures(judged)
    had, room = margins(before, wish), float(before.headroom_db)
    if not abs(room) < float("inf") or room - (wish.headroom_db or 0.0) > ENOUGH_DB:
        return ()
    found = []
    for name, changes in _candidates(chain).items():
        other = chain.but(changes)
        if not room_of(other.values) - room >= STEP_DB - 1e-9:
            continue  # the rest need not be asked
        after = whole_figures(other.values, low_note_hz(chain), with_noise=False)
        has = margins(after, wish)
        if _ROOM in benefits(has, had) and (bool(after.works) or not wish.works):
            found.append(Change(name, changes, before, after, costs(has, had)))
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
