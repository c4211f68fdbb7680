"""What to build and why, in one sentence: the same on the page on building, on the printed sheet and in its numbers.

It says what the judgement says and decides nothing: whether the stage is worth it, and which of the usual limits (see
`judging.wish`) it misses. Where one change helps, a second sentence names it: the one that the chapters offer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.quantity import letter_code
from piezolab.sheets.words import in_brackets, louder_words, your_note
from piezolab.studies.first_touch import FirstTouch, room_touch
from piezolab.studies.judging.judgement import Judgement, judgement
from piezolab.studies.judging.wish import Wish, judged_figures, missed
from piezolab.studies.judging.worth import LEVEL_DB, Worth
from piezolab.studies.more_room import Change

#: What a build does that misses a wish, by the wish's name.
FAILS = {
    "works": "leaves saturation or lets its gate conduct at a supply voltage that it will see",
    "low_note_db": "loses too much of the lowest string",
    "headroom_db": "has too little room for hard playing",
    "gain_db": "gives too little level",
    "step_v": "thumps too hard on plugging in",
    "settle_s": "takes too long to settle after plugging in",
    "dc_v": "puts too much direct voltage on the jack",
    "snr_db_a": "hisses too much",
    "current_a": "draws too much current",
    "life_h": "empties the battery too soon",
    "parts": "takes too many parts",
    "cost": "costs too much",
}
#: Changes that give more room, by their name in `studies.more_room` and `studies.first_touch`.
CHANGES = {
    "half source resistor": "half the source resistor",
    "double source resistor": "twice the source resistor",
    "tap": "the gate resistor to a tap half way up the source resistor",
    "divider": "the gate resistor to a divider at half the supply",
    "half drain resistor": "half the drain resistor",
    "no bypass": "no source capacitor",
    "follower": "a follower instead of the gain stage",
    "pad": "a pad of two equal resistors before the input, 11 kΩ each",
    "ceiling": "a line input instead of this one",
}


def what_and_why(chain: SignalChain) -> str:
    """What to build for this chain and why, in one sentence; in a second one the change to begin with, if any."""
    judged = judgement(chain)
    worth = judged.worth
    if worth.silent:
        return "Build nothing yet: no signal comes through this chain."
    if not chain.topology.powered:
        return _bare(chain, worth)
    part = f"{'your' if chain.transistor_measured else 'a typical'} {chain.type_number}"
    stage = f"the {chain.topology.title} with {part}"
    if not judged.works:
        return f"Do not build {stage} as it is: it {FAILS['works']}."
    brings = f"against bare it brings {_gains(chain, worth)}"
    if worth.worth_it:
        return _worth_it(judged, stage, part, brings)
    begin = _to_begin_with(judged, missed(judged_figures(judged), Wish()))
    if worth.gains:
        return f"Do not build {stage} as it is: {brings}, but{_cost(chain, worth)[1:]}.{begin}"
    if worth.costs:
        return f"Do not build {stage} as it is: against bare it brings nothing{_cost(chain, worth)}.{begin}"
    return f"There is no need to build {stage} for {_input(chain)}: it changes no note by {LEVEL_DB:.0f} dB."


def _bare(chain: SignalChain, worth: Worth) -> str:
    would = f"a source follower would bring {_gains(chain, worth) or 'nothing that one notices'}"
    if worth.worth_it:
        return f"Do not plug the bare pickup into {_input(chain)}: {would}{_cost(chain, worth)}."
    plug = f"Plug the bare pickup straight into {_input(chain)}"
    return f"{plug}: {would}{', but' + _cost(chain, worth)[1:] if worth.gains else ''}."


def _worth_it(judged: Judgement, stage: str, part: str, brings: str) -> str:
    """What a stage brings that is worth it, and what speaks against it: limits that it misses, else what it costs."""
    chain = judged.chain
    names = missed(judged_figures(judged), Wish())
    fails = _listed([FAILS[name] for name in names])
    drowns = f"hum drowns {your_note(chain)}" if judged.loudness.drowns else ""
    against = ", and ".join(filter(None, (f"it {fails}" if fails else "", drowns)))
    if fails:
        begin = _to_begin_with(judged, names)
        this = f"this {chain.topology.title.partition(' (')[0]} ({part.removeprefix('a ')})"
        return f"Change {this} before you build it for {_input(chain)}: {brings}, but {against}.{begin}"
    brings += _cost(chain, judged.worth)
    if drowns:
        return f"Build {stage} for {_input(chain)} and see to the hum: {brings}, but {against}."
    return f"Build {stage} for {_input(chain)}: {brings}."


def _to_begin_with(judged: Judgement, names: Sequence[str]) -> str:
    """The change to begin with: that which gives the lowest string back, else that which gives room; "" for none."""
    thin = judged.thin if "low_note_db" in names else None
    if thin is not None and not math.isnan(thin.does):
        return f" Change first: {thin.label} {letter_code(thin.does, thin.unit)}."
    touch = room_touch(judged.chain) if "headroom_db" in names else None
    return "" if touch is None else f" Change first: {change_words(judged.chain, touch)}."


def change_words(chain: SignalChain, change: Change | FirstTouch) -> str:
    """A change that gives room in words, with the stage's own names for its resistors."""
    words, stage, table = CHANGES[change.name], chain.topology, all_parameters()
    for key, usual in ((stage.rest_key, "source resistor"), (stage.gain_key, "drain resistor")):
        if key in change.changes and change.name.endswith(usual):
            words = words.replace(usual, table[key].label)
    return words.replace("the gain stage", f"the {stage.title}" if stage.key != "gain" else "the gain stage")


def _input(chain: SignalChain) -> str:
    """What is plugged in, to stand inside a sentence."""
    if chain.input_r is not None or chain.input_c is not None:
        return "your input"
    return " and ".join(f"the {in_brackets(catalogue.inputs()[kind].label)}" for kind in chain.input)


def _gains(chain: SignalChain, worth: Worth) -> str:
    return brought(chain, worth, worth.gains)


def _cost(chain: SignalChain, worth: Worth) -> str:
    costs = brought(chain, worth, worth.costs)
    return f", at the cost of {costs}" if costs else ""


def brought(chain: SignalChain, worth: Worth, names: Sequence[str]) -> str:
    """What a stage brings or costs, by the names in `Worth.gains` or `Worth.costs`: 25 dB of all notes and 41 dB less
    hum along the cable; "" for none."""
    said = []
    names = tuple(name for name in ("bass", "level", "hiss", "cable", "room") if name in names)
    if names[:2] == ("bass", "level") and abs(worth.bass_db - worth.level_db) < LEVEL_DB:
        said.append(f"every note {louder_words(worth.level_db)}")
        names = names[2:]
    for name in names:
        match name:
            case "bass":
                said.append(f"{your_note(chain)} {_level(worth.bass_db)}")
            case "level":
                said.append(f"the higher notes {_level(worth.level_db)}")
            case "hiss":
                said.append(_noise(worth.hiss_db, "hiss"))
            case "cable":
                said.append(_noise(worth.cable_db, "hum along the cable"))
            case "room":
                said.append(f"clipping: hard playing is {-worth.room_db:.1f} dB further beyond the edge")
    return _listed(said)


def _listed(said: Sequence[str]) -> str:
    return f"{', '.join(said[:-1])} and {said[-1]}" if len(said) > 1 else "".join(said)


def _level(db: float) -> str:
    return louder_words(db) if math.isfinite(db) else "all of its level" if db > 0 else "silent"


def _noise(db: float, what: str) -> str:
    size = f"{abs(db):.0f} dB" if math.isfinite(db) else "all"
    return f"{size} {'less' if db > 0 else 'more'} {what}"
