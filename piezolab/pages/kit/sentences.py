"""The plain sentences about a chain: what one will hear first, then the number.

Studies give numbers; the words for them are chosen here and nowhere else.
"""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.pitch import nearest_note
from piezolab.quantity import show
from piezolab.sheets.words import louder_words, your_note
from piezolab.sheets.words import lowest as lowest
from piezolab.studies.bias import Bias
from piezolab.studies.judging.judgement import Judgement
from piezolab.studies.judging.worth import LEVEL_DB, Worth
from piezolab.studies.loading import Loading

#: How far the figures can be trusted where the mains comes in.
MAINS = (
    "These figures are estimates from typical data, not a certificate; local electrical rules and licensed people "
    "decide about anything on the mains."
)

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


# -- chapter 1 ------------------------------------------------------------------------------------------------------
def opposed(chain: SignalChain) -> bool:
    """Whether two discs are wired against each other."""
    return chain.discs.endswith("x")


def bare_sentence(judged: Judgement) -> str:
    """What the bare pickup does to the lowest string."""
    chain, bare = judged.chain, judged.bare
    if opposed(chain):
        return (
            "The two discs are wired against each other: what both feel alike cancels, and next to nothing of the "
            "note is left. Swap the two wires of one disc."
        )
    if bare.silent:
        return "Bare, nothing arrives at the input."
    loss, flat = -float(bare.balance_db), -float(bare.full_db)
    if loss < HEARD[0][0]:
        return f"Bare, {your_note(chain)} keeps its bass ({_beside_the_others(-loss)})."
    if flat >= FLAT_LOSS_DB:
        number = decibel_words(-loss).removesuffix(" down")
        return f"Bare, all notes lose {flat:.0f} dB, and {your_note(chain)} another {number}: {heard(loss)}."
    return f"Bare, {your_note(chain)} arrives {decibel_words(-loss)} against the higher notes: {heard(loss)}."


def stage_sentence(judged: Judgement, net: bool = True) -> str:
    """What the chain's stage makes of it, against the bare pickup of the sentence before."""
    chain, working, sound = judged.chain, judged.working, judged.sound
    if working is None:
        return "No stage is in the chain, so that is what you get."
    broken = not_working(working.at_rest)
    title = chain.topology.title
    if broken:
        return f"With the {title} nothing is won yet: {broken}"
    if opposed(chain):
        return f"The {title} cannot bring back what cancels before it."
    if sound.silent:
        return f"With the {title} nothing arrives at the input."
    loss, worth = -float(sound.balance_db), judged.worth
    words = heard(loss)
    if not words.startswith(("it ", "nearly ", "next ")):
        words = f"it is {words}"
    bare_keeps = not judged.bare.silent and -float(judged.bare.balance_db) < HEARD[0][0]
    told = f"{words} ({_beside_the_others(-loss)})"
    if bare_keeps and loss < HEARD[0][0]:
        told = "it does so too"
    said = f"With the {title} {told}{_net_words(worth) if net else ''}."
    if bare_keeps and not worth.gains:
        said += " This input needs no stage."
    return said


def _net_words(worth: Worth) -> str:
    """How much louder or quieter than bare, where it is 1 dB or more: of every note, or of the lowest (“it”) and the
    rest."""
    bass, level = worth.bass_db, worth.level_db
    if max(abs(bass), abs(level)) < LEVEL_DB or not math.isfinite(bass + level):
        return ""
    joined = ", but" if min(bass, level) <= -LEVEL_DB else ", and"
    if bass * level > 0 and abs(bass - level) < LEVEL_DB:
        return f"{joined} every note comes {louder_words(level)}"
    if abs(bass) < LEVEL_DB:
        return f"{joined} the higher notes come {louder_words(level)} than bare"
    joined = ", but" if bass < 0 else ", and"
    others = f", the higher notes {louder_words(level)}" if abs(level) >= LEVEL_DB else ""
    return f"{joined} it comes {louder_words(bass)} than bare{others}"


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
            needs, has = _apart(float(at.v_ds_sat), float(at.v_ds))
            return (
                f"{who} needs more than {needs} from drain to source and has {has}, so it cannot swing. It sounds "
                "weak and squashed, and distorts early."
            )
    return ""


def _apart(one: float, other: float) -> tuple[str, str]:
    """Two voltages in as many figures as it takes to tell them apart."""
    for digits in range(2, 7):
        both = show(one, "V", digits), show(other, "V", digits)
        if both[0] != both[1]:
            break
    return both


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
                f"one has {show(has, 'ohm', 2)}."
            )
    return said
