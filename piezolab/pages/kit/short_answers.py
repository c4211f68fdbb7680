"""What the five chapters about a chain's sound would say of it, in one short line each, for the home page.

Words and figures are those of the chapters' verdicts: both read the chain's judgement and the kit's words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from piezolab.chain import SignalChain
from piezolab.pages.kit.sentences import HEARD, decibel_words, heard, not_working, opposed, your_note
from piezolab.studies.inputs import this_input
from piezolab.studies.judging.hum_and_hiss import Loudness
from piezolab.studies.judging.judgement import Judgement, judgement

NOTHING = "nothing arrives"
CANCELS = "the two discs cancel: swap the wires of one"


def bass(judged: Judgement) -> str:
    """Bare, low D 17 dB down; with the stage it keeps its bass."""
    if opposed(judged.chain):
        return CANCELS
    if judged.bare.silent:
        return f"bare, {NOTHING}"
    loss = -float(judged.bare.balance_db)
    said = f"bare, {_note(judged.chain)} {'keeps its bass' if loss < HEARD[0][0] else decibel_words(-loss)}"
    if judged.working is None:
        return said
    if not judged.works:
        return f"{said}; the stage does not work"
    if judged.sound.silent:
        return f"{said}; with the stage {NOTHING}"
    return f"{said}; with the stage: {heard(-float(judged.sound.balance_db)).removeprefix('it ')}"


def transistor(judged: Judgement) -> str:
    """Works until the battery is spent."""
    working = judged.working
    if working is None:
        return "no stage, no transistor"
    if not working.rest:
        return "does not work"
    if working.spent is None:
        return "works"
    return "works only while the battery is fresh" if not_working(working.spent) else "works until the battery is spent"


def output(judged: Judgement) -> str:
    """What cable and input take from the lowest string, and whether hard playing is too loud for the input."""
    if not judged.works:
        return "the stage does not work"
    if opposed(judged.chain):
        return CANCELS
    row = this_input(judged.chain)
    if not math.isfinite(row.low_note_load_db):
        return NOTHING
    taken = decibel_words(-row.low_note_load_db)
    return f"{_note(judged.chain)} arrives {'whole' if taken == 'level' else taken}"


def hum_and_hiss(loud: Loudness) -> str:
    """Hum 39 dB under hard playing, hiss 71 dB."""
    hum, hiss = float(loud.hum_db), float(loud.hiss_db)
    if math.isnan(hiss):
        return "no signal arrives"
    hum_words = f"hum {apart(hum)}" if loud.hum_way else "no hum"
    return f"{hum_words}, hiss {apart(hiss)} hard playing"


def apart(level_db: float) -> str:
    """39 dB under."""
    return f"{abs(level_db):.0f} dB {'under' if level_db <= 0 else 'above'}"


def clipping(judged: Judgement) -> str:
    """Hard playing has 12 dB of room."""
    if judged.worth.silent:
        return NOTHING
    if not judged.works:
        return "the stage does not work"
    room = judged.edges.headroom_db
    if judged.edges.clips:
        return f"hard playing clips, {-room:.1f} dB too much"
    return f"hard playing has {room:.1f} dB of room" if math.isfinite(room) else "nothing clips"


#: Address word of the chapter -> its short answer about a chain.
ANSWERS: Mapping[str, Callable[[SignalChain], str]] = {
    "where-does-the-bass-go": lambda chain: bass(judgement(chain)),
    "will-this-transistor-do": lambda chain: transistor(judgement(chain)),
    "what-do-cable-and-input-change": lambda chain: output(judgement(chain)),
    "who-makes-the-hiss-and-the-hum": lambda chain: hum_and_hiss(judgement(chain).loudness),
    "how-loud-before-it-clips": lambda chain: clipping(judgement(chain)),
}


def _note(chain: SignalChain) -> str:
    return your_note(chain).removeprefix("your ").partition(" (")[0]
