"""What to build and why, in one sentence: the same on the page on building, on the printed sheet and in its numbers.

It says what the judgement says and decides nothing: whether the stage is worth it, and which of the usual limits (see
`judging.wish`) it misses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.sheets.words import in_brackets, louder_words, your_note
from piezolab.studies.judging.judgement import Judgement, judgement
from piezolab.studies.judging.wish import Wish, judged_figures, missed
from piezolab.studies.judging.worth import LEVEL_DB, Worth

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
}


def what_and_why(chain: SignalChain) -> str:
    """What to build for this chain and why, in one sentence."""
    judged = judgement(chain)
    worth = judged.worth
    if worth.silent:
        return "Build nothing yet: no signal comes through this chain."
    if not chain.topology.powered:
        return _bare(chain, worth)
    whose = "your" if chain.transistor_measured else "a typical"
    stage = f"the {chain.topology.title} with {whose} {chain.type_number}"
    if not judged.works:
        return f"Do not build {stage} as it is: it {FAILS['works']}."
    brings = f"against the bare pickup it brings {_gains(chain, worth)}"
    if worth.worth_it:
        return _worth_it(judged, stage, f"{brings}{_cost(chain, worth)}")
    if worth.gains:
        return f"Do not build {stage} as it is: {brings}, but{_cost(chain, worth)[1:]}."
    if worth.costs:
        return f"Do not build {stage} as it is: against the bare pickup it brings nothing{_cost(chain, worth)}."
    return f"There is no need to build {stage} for {_input(chain)}: it changes no note by {LEVEL_DB:.0f} dB."


def _bare(chain: SignalChain, worth: Worth) -> str:
    would = f"a source follower would bring {_gains(chain, worth) or 'nothing that one notices'}"
    if worth.worth_it:
        return f"Do not plug the bare pickup into {_input(chain)}: {would}{_cost(chain, worth)}."
    plug = f"Plug the bare pickup straight into {_input(chain)}"
    return f"{plug}: {would}{', but' + _cost(chain, worth)[1:] if worth.gains else ''}."


def _worth_it(judged: Judgement, stage: str, brings: str) -> str:
    """What a stage brings that is worth it, and what speaks against it as it is."""
    chain = judged.chain
    fails = [FAILS[name] for name in missed(judged_figures(judged), Wish())]
    drowns = [f"hum drowns {your_note(chain)}"] if judged.loudness.drowns else []
    against = ", and ".join([*([f"it {_listed(fails)}"] if fails else []), *drowns])
    if fails:
        return f"Change {stage} before you build it for {_input(chain)}: {brings}, but {against}."
    if drowns:
        return f"Build {stage} for {_input(chain)} and see to the hum: {brings}, but {against}."
    return f"Build {stage} for {_input(chain)}: {brings}."


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
