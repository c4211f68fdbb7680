"""The one change that shows most of what a chapter is about, with what it brings, by the judgement of the chain.

Offered is only what brings at least 1 dB of the lowest string, of all notes or of room for hard playing, or 3 dB less
of a hum or hiss that is heard (the limits of `judging.worth`), and makes the chain miss no wish (`judging.wish`) that
it meets now. Of two changes the first one stands unless the second brings 3 dB more. That order is our own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.advice import hiss_advice, hum_advice
from piezolab.studies.judging.hum_and_hiss import INAUDIBLE_DB
from piezolab.studies.judging.judgement import Judgement, judgement
from piezolab.studies.judging.wish import Wish, costs, judged_figures, margins
from piezolab.studies.judging.worth import LEVEL_DB, QUIET_DB, with_a_stage
from piezolab.studies.more_room import more_room

SHIELD_DB = 20.0  # what a closed foil shield is taken for: the middle of the range in the advice, no source
EASY, ROOMY = "amplifier", "line"  # inputs: kind to a bare pickup; with the highest ceiling
MORE_DB = 3.0
_OF_INPUT = ("input_r", "input_c", "input_max", "input_noise")


@dataclass(frozen=True)
class FirstTouch:
    """name: `input`, `stage`, `thin`, `shield`, `ceiling`, a step of `advice` or a change of `more_room`; changes: of
    the chain; brings: `bass`, `level`, `hum`, `hiss` or `room`; gain_db: how much of it, dB; before, after: the chains;
    bare: it is the bare pickup that it helps; costs: wishes that it would miss, where that is known already."""

    name: str
    changes: Mapping[str, Any]
    brings: str
    gain_db: float
    before: SignalChain
    after: SignalChain
    bare: bool = False
    costs: tuple[str, ...] | None = None

    @property
    def heard(self) -> tuple[SignalChain, SignalChain]:
        """What to listen to, before and after."""
        bare = {"stage": "direct"} if self.bare else {}
        return self.before.but(bare), self.after.but(bare)


def bass_touch(chain: SignalChain) -> FirstTouch | None:
    """What gives the lowest string back: to a thin stage its part, to the bare pickup another input, or a stage."""
    return _best(chain, [_thin, _kind_input, _stage]) or _best(chain, [_bare_input])


def output_touch(chain: SignalChain) -> FirstTouch | None:
    """What cable and input would leave: a stage for a bare pickup, a part of a thin stage, another input."""
    return _best(chain, [_stage, _thin, _kind_input])


def quiet_touch(chain: SignalChain) -> FirstTouch | None:
    """What lowers the louder of hum and hiss, where that is heard."""
    return _best(chain, [_shield, _steps])


def room_touch(chain: SignalChain) -> FirstTouch | None:
    """What gives hard playing that clips its room."""
    return _best(chain, [_ceiling, _more_room])


def _best(chain: SignalChain, ways: list[Callable[[Judgement], Iterator[FirstTouch]]]) -> FirstTouch | None:
    judged, best = judgement(chain), None
    for touch in (touch for way in ways for touch in way(judged)):
        if best is not None and not touch.gain_db >= best.gain_db + MORE_DB:
            continue
        least = QUIET_DB if touch.brings in ("hum", "hiss") else LEVEL_DB
        if np.isfinite(touch.gain_db) and touch.gain_db >= least and _harmless(judged, touch):
            best = touch
    return best


def _harmless(judged: Judgement, touch: FirstTouch) -> bool:
    """Whether it misses no wish that the chain meets; what a stage costs is the judgement's to say."""
    if touch.name == "stage":
        return judged.worth.worth_it
    if touch.costs is not None:
        return not touch.costs
    had, has = (margins(judged_figures(each), Wish()) for each in (judged, judgement(touch.after)))
    return not costs(has, had)


def _touch(judged: Judgement, name: str, changes: Mapping[str, Any], brings: str, **more: Any) -> FirstTouch:
    """The change made, and what it brings by the judgement before and after."""
    after = judged.chain.but(changes)
    then, gain = judgement(after), more.pop("gain_db", None)
    if gain is None:
        gain = _figure(then, brings, **more) - _figure(judged, brings, **more)
    return FirstTouch(name, changes, brings, float(gain), judged.chain, after, **more)


def _figure(judged: Judgement, brings: str, bare: bool = False) -> float:
    """The figure that a change is to raise, dB."""
    match brings:
        case "bass":
            return float((judged.bare if bare else judged.sound).low_note_db)
        case "hum":
            return -float(judged.loudness.hum_db)
        case "hiss":
            return -float(judged.loudness.hiss_db)
        case _:
            return judged.edges.headroom_db


def _stage(judged: Judgement) -> Iterator[FirstTouch]:
    if not judged.chain.topology.powered and not judged.worth.silent:
        brings = next((name for name in judged.worth.gains if name in ("bass", "level")), "")
        if brings:
            gain = judged.worth.bass_db if brings == "bass" else judged.worth.level_db
            yield _touch(judged, "stage", {"stage": with_a_stage(judged.chain).stage}, brings, gain_db=gain)


def _thin(judged: Judgement) -> Iterator[FirstTouch]:
    thin = judged.thin if judged.works else None
    if thin is not None and not np.isnan(thin.does):
        yield _touch(judged, "thin", {thin.key: thin.does}, "bass")


def _kind_input(judged: Judgement) -> Iterator[FirstTouch]:
    if judged.chain.input != (EASY,):
        yield _touch(judged, "input", plugged_into(EASY), "bass")


def _bare_input(judged: Judgement) -> Iterator[FirstTouch]:
    """For the bare pickup, whose curve is drawn beside the stage's."""
    if judged.chain.input != (EASY,) and judged.chain.topology.powered:
        yield _touch(judged, "input", plugged_into(EASY), "bass", bare=True)


def _shield(judged: Judgement) -> Iterator[FirstTouch]:
    loud = judged.loudness
    if loud.hum_db >= max(INAUDIBLE_DB, float(loud.hiss_db)) and judged.chain.shield_db < SHIELD_DB:
        shielded = _touch(judged, "shield", {"shield_db": SHIELD_DB}, "hum")
        yield replace(shielded, costs=())  # it changes what comes in from the room, and no wish is about that


def _steps(judged: Judgement) -> Iterator[FirstTouch]:
    loud = judged.loudness
    if not max(float(loud.hum_db), float(loud.hiss_db)) >= INAUDIBLE_DB:
        return
    hums = loud.hum_db >= loud.hiss_db
    for step in (hum_advice if hums else hiss_advice)(judged.chain).steps:
        if step.computed and step.less_db[0] >= QUIET_DB:
            yield _touch(judged, step.name, step.changes, "hum" if hums else "hiss")


def _ceiling(judged: Judgement) -> Iterator[FirstTouch]:
    kinds = catalogue.inputs()
    edges, chain = judged.edges, judged.chain
    if edges.clips and edges.input_first and kinds[ROOMY].max_v_peak > float(chain.values.input_max):
        yield _touch(judged, "ceiling", plugged_into(ROOMY), "room")


def _more_room(judged: Judgement) -> Iterator[FirstTouch]:
    if judged.edges.clips:
        for change in more_room(judged.chain):
            after = judged.chain.but(change.changes)
            yield FirstTouch(
                change.name, change.changes, "room", change.more_db, judged.chain, after, costs=change.costs
            )


def plugged_into(kind: str) -> dict[str, Any]:
    """Another input, with nothing entered by hand about the one before."""
    return {"input": (kind,), **dict.fromkeys(_OF_INPUT)}
