"""The plain sentences about a chain: what one will hear first, then the number.

Studies give numbers; the words for them are chosen here and nowhere else.
"""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.pitch import Note, nearest_note, parse_tuning
from piezolab.quantity import decibels, show
from piezolab.studies.bias import Bias
from piezolab.studies.loading import Loading
from piezolab.studies.response import Response

#: How much weaker the lowest string is than the strings far above it, in dB, and what that sounds like. The
#: limits are ours (common practice, no source): about 1 dB is the least change that one notices, 3 dB is half the
#: power, about 10 dB sounds half as loud.
HEARD = (
    (0.5, "it keeps its bass"),
    (1.5, "nearly all of its bass is there"),
    (3.0, "a touch light"),
    (6.0, "light"),
    (12.0, "thin"),
    (20.0, "very thin, more plink than note"),
    (math.inf, "next to no bass, only the attack is left"),
)
SILENT_DB = 60.0  # a gain below this is called silence
FLAT_LOSS_DB = 3.0  # from here on a loss of all notes alike is worth a sentence


def heard(loss_db: float) -> str:
    """Words for a loss of the lowest string against the full level, dB (positive: weaker)."""
    return next(words for limit, words in HEARD if loss_db < limit or limit == math.inf)


def decibel_words(level_db: float) -> str:
    """A level against another: 9 dB down, 0.3 dB up, level."""
    size = abs(level_db)
    if not math.isfinite(level_db):
        return "not there at all"
    number = f"{size:.1f}" if size < 9.95 else f"{size:.0f}"
    if float(number) == 0:
        return "level"
    return f"{number.removesuffix('.0')} dB {'down' if level_db < 0 else 'up'}"


def pitch_words(hz: float) -> str:
    """A frequency with the note that lies there: 49 Hz, a little below G1."""
    if hz < 1.0:  # thousandths of a hertz say nothing to the ear
        return f"{hz:.2g} Hz"
    if not 16.4 < hz < 31e3:
        return show(hz, "Hz")
    near, cents = nearest_note(hz)
    about = f"at {near.display}" if abs(cents) < 10 else f"near {near.display}"
    return f"{show(hz, 'Hz')}, {about}"


def lowest(chain: SignalChain) -> Note:
    """The lowest string."""
    return min(parse_tuning(chain.tuning), key=lambda note: note.frequency_hz)


def your_note(chain: SignalChain) -> str:
    """The lowest string in words: your low D (147 Hz)."""
    note = lowest(chain)
    low = "low " if len(parse_tuning(chain.tuning)) > 1 else ""
    return f"your {low}{note.display.rstrip('0123456789')} ({note.frequency_hz:.0f} Hz)"


# -- chapter 1 ------------------------------------------------------------------------------------------------------
def opposed(chain: SignalChain) -> bool:
    """Whether two discs are wired against each other."""
    return chain.discs.endswith("x")


def bare_sentence(chain: SignalChain, found: Loading) -> str:
    """What the bare pickup does to the lowest string."""
    if opposed(chain):
        return (
            "The two discs are wired against each other: what both feel alike cancels, and next to nothing of the "
            "note is left. Swap the two wires of one disc."
        )
    loss, flat = -found.low_note_re_plateau_db, -found.plateau_db
    if loss < HEARD[0][0]:
        return f"Bare, {your_note(chain)} keeps its bass ({_beside_the_others(-loss)})."
    if flat >= FLAT_LOSS_DB:
        number = decibel_words(-loss).removesuffix(" down")
        return f"Bare, all notes lose {flat:.0f} dB, and {your_note(chain)} another {number}: {heard(loss)}."
    return f"Bare, {your_note(chain)} arrives {decibel_words(-loss)}: {heard(loss)}."


def stage_sentence(
    chain: SignalChain, found: Response | None, at_rest: Bias | None, bare: Loading | None = None
) -> str:
    """What the chain's stage makes of it; bare: what the sentence before this one spoke of."""
    if found is None or at_rest is None:
        return "No stage is in the chain, so that is what you get."
    broken = not_working(at_rest)
    title = chain.topology.title
    if broken:
        return f"With the {title} nothing is won yet: {broken}"
    if opposed(chain):
        return f"The {title} cannot bring back what cancels before it."
    loss, whole = -found.low_note_re_midband_db, decibels(found.midband_gain)
    words = heard(loss)
    if not words.startswith(("it ", "nearly ", "next ")):
        words = f"it is {words}"
    bare_keeps = bare is not None and -bare.low_note_re_plateau_db < HEARD[0][0]
    louder = f", and every note comes {whole:.0f} dB louder" if whole >= FLAT_LOSS_DB else ""
    if bare_keeps and loss < HEARD[0][0]:
        return f"With the {title} it does so too{louder}."
    return f"With the {title} {words} ({_beside_the_others(-loss)}){louder}."


def _beside_the_others(level_db: float) -> str:
    words = decibel_words(level_db)
    return "level with the higher notes" if words == "level" else words


def not_working(at_rest: Bias) -> str:
    """Why a stage does not work at rest and what that sounds like; "" where it does. With several transistors it says
    which is to blame."""
    for at in (at_rest, *at_rest.others):
        who = f"the {at.label} {at.name}" if at_rest.others else "the transistor"
        if str(at.gate) == "conducting":
            gate = f"the gate of {who}" if at_rest.others else "the gate"
            loads = "loads the pickup and " if at is at_rest else ""
            return f"{gate} conducts, which {loads}clips one half of every swing. It sounds weak and rasping."
        if str(at.region) == "cut-off":
            return f"{who} is cut off and passes no current. You hear nothing, or a splutter on hard strokes."
        if str(at.region) == "triode":
            return (
                f"{who} has only {show(float(at.v_ds), 'V', 2)} from drain to source and cannot swing. It "
                "sounds weak and squashed, and distorts early."
            )
    return ""


def advice(chain: SignalChain, found: Loading) -> list[str]:
    """What would help, in sentences."""
    if opposed(chain):
        return []
    said = []
    note = your_note(chain)
    flat = -found.plateau_db
    if flat >= FLAT_LOSS_DB:
        said.append(
            f"Bare, lead, cable and input take {flat:.1f} dB from every note alike. A shorter cable gives some of it "
            "back, and so does a stage close to the pickup."
        )
    elif flat <= -FLAT_LOSS_DB:
        said.append(f"The two discs in series add up: every note arrives {decibel_words(found.plateau_db)}.")
    least = found.min_input_ohm_1db
    if math.isnan(least):
        leak = show(chain.values.pickup_r, "ohm")
        said.append(
            f"No input, however high, can keep {note} within 1 dB on the bare pickup: its own leakage ({leak}) "
            "already takes more. Dry it, clean off flux and fingerprints, or replace it."
        )
    else:
        has = float(found.bare.r_load)
        if has < least:
            said.append(
                f"A bare pickup needs an input of at least {show(least, 'ohm', 2)} to keep {note} within 1 dB; this "
                f"one has {show(has, 'ohm', 2)}."
            )
        else:
            said.append(
                f"An input of {show(least, 'ohm', 2)} would do to keep {note} within 1 dB on the bare pickup; this "
                f"one has {show(has, 'ohm', 2)}, so the bass is safe even without a stage."
            )
    return said
