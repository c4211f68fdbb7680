"""Words for cable and input: what one will hear first, then the number."""

from __future__ import annotations

import math

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.pages.kit.sentences import decibel_words, heard, opposed, your_note
from piezolab.pages.kit.worth_words import thin_sentences, worth_sentence
from piezolab.quantity import show
from piezolab.sheets.words import in_brackets
from piezolab.studies.inputs import NOTICED_DB, TREBLE_HZ, InputRow
from piezolab.studies.judging.judgement import Judgement
from piezolab.studies.phantom import Phantom
from piezolab.studies.plugging import SETTLED_V, Plugging, Remedy

TILT_DB = 1.0  # bass and treble this far apart sound different, not just quieter
BRIDGED = 10.0  # from this ratio on a load takes less than 1 dB: the trade's rule of ten
SILENT = 1e-6  # a gain below this is silence
NO_VOLT = 1e-5  # V; a direct voltage below this is none
TREBLE = show(TREBLE_HZ, "Hz", 1)


def label(kind: str) -> str:
    """Kind of input in words; two joined by a plus are two beside each other."""
    return " and ".join(catalogue.inputs()[name].label for name in kind.split("+"))


def plugged(chain: SignalChain) -> str:
    """What is plugged in: 3.00 m of cable and the instrument amplifier."""
    entered = chain.input_r is not None or chain.input_c is not None
    kind = "your input" if entered else " and ".join(f"the {in_brackets(label(name))}" for name in chain.input)
    length = chain.values.cable_m
    if not length:
        return kind
    return f"{length:g} m of cable{',' if len(chain.input) > 1 else ' and'} {kind}"


def lost(loss_db: float) -> str:
    """A loss in a table: 3.2 dB, none, or a gain; nan where there is nothing to lose."""
    if math.isnan(loss_db):
        return "nothing arrives"
    if loss_db > 200:
        return "all of it"
    if abs(loss_db) < 0.05:
        return "none"
    return f"{loss_db:.1f}\u00a0dB" if loss_db > 0 else f"{-loss_db:.1f}\u00a0dB more"


def verdict(chain: SignalChain, row: InputRow, broken: str) -> str:
    """What plugging in changes; `broken` says why the stage does not work at rest, if it does not."""
    if broken:
        return f"Whatever it is plugged into, the {chain.topology.title} does not work yet: {broken}"
    if opposed(chain):
        return "The two discs are wired against each other and cancel: cable and input make no difference to that."
    if not row.level_v_peak > SILENT * chain.play_v:
        return "Plugged in or not, nothing arrives at the input: no signal comes out of this chain. Mend that first."
    return " ".join(filter(None, (_overload(row), _change(chain, row))))


def _change(chain: SignalChain, row: InputRow) -> str:
    low, treble, note = row.low_note_load_db, row.treble_load_db, your_note(chain)
    what = plugged(chain)
    if max(low, treble, row.loss_db) < NOTICED_DB:
        if min(low, treble) <= -NOTICED_DB:
            return f"With {what}, {note} even rises ({decibel_words(-low)})."
        kept = "loses nothing" if abs(low) < 0.05 else f"loses {low:.1f} dB" if low > 0 else f"gains {-low:.1f} dB"
        if row.overload_db >= NOTICED_DB:
            return f"The level stays: with {what}, {note} {kept}."
        return f"Plugging in makes no change to hear: with {what}, {note} {kept}."
    if low - treble >= TILT_DB:
        words = heard(low - max(treble, 0.0))
        words = words if words.startswith(("it ", "nearly ", "next ")) else f"it sounds {words}"
        return f"With {what}, {note} comes {decibel_words(-low)}: {words}. At {TREBLE} it is {decibel_words(-treble)}."
    if treble - low >= TILT_DB:
        return (
            f"With {what}, it sounds duller: at {TREBLE} it comes {decibel_words(-treble)}, {note} "
            f"{decibel_words(-low)}."
        )
    return f"With {what}, every note is quieter alike: {note} comes {decibel_words(-low)}."


def _overload(row: InputRow) -> str:
    if row.overload_db < NOTICED_DB:
        return ""
    by = f"{row.overload_db:.1f} dB"
    if row.alone_db > 0:
        what = "this input clips" if row.clip_cause == "input" else "plugged in it does so"
        return f"Hard playing clips in the stage by itself, and {what} {by} sooner still: it rasps."
    if row.clip_cause == "input":
        return f"Hard playing is {by} too loud for this input: it rasps, unless you play softer or put in a pad."
    return f"The stage cannot drive it: hard playing clips, {by} too much; with nothing plugged in it would not."


def advice(judged: Judgement, row: InputRow) -> list[str]:
    """What to do about it."""
    if judged.worth.silent or not judged.works:
        return []
    said, jump = [worth_sentence(judged.chain, judged.worth), *thin_sentences(judged.thin)], judged.plug
    if row.phantom:
        said.append(
            "Phantom power can reach this socket: switch it off and wait a minute before you plug in. Better, put a "
            "transformer box between."
        )
    said += [fed_sentence(found) for found in judged.fed.values()]
    if jump is not None and abs(jump.step_v) > SETTLED_V:
        said.append(f"Plugging in makes a thump of {show(abs(jump.step_v), 'V', 2)}: mute first. See below for cures.")
    return said


def reasons(row: InputRow) -> str:
    """Why an input does harm, the worst first."""
    words = {
        "resistance": "resistance too low for this output",
        "capacitance": "capacitance of cable and input",
        "ceiling": f"hard playing is more than the {show(row.ceiling_v_peak, 'V', 2)} it takes: it clips",
        "drive": "too much for the stage to drive: it clips sooner",
        "pad": "the pad",
    }
    by = sorted((name for name in row.by if row.by[name] >= NOTICED_DB), key=lambda name: -row.by[name])
    said = "; ".join(words[name] for name in by) or "suits it"
    return f"{said}. Phantom power can reach it" if row.phantom else said


def ratio_words(ratio: float) -> str:
    """A ratio to two figures, without a prefix."""
    return f"{float(f'{ratio:.2g}'):.10g}"


def bridging(ratio: float) -> str:
    """What the input's impedance over the output's means for the level."""
    if ratio >= 100:
        return "the input asks for next to nothing: no loss"
    if ratio >= BRIDGED:
        return "the input takes less than 1 dB"
    if ratio >= 1:
        return "the input takes a good part of the level, and more so where the output impedance rises"
    return "the input takes more than it leaves: most of the level is lost"


# -- phantom power ------------------------------------------------------------------------------------------------
def phantom_sentences(found: Phantom | None) -> list[str]:
    """What 48 V would do to this chain, sentence by sentence."""
    if found is None:
        return [
            "A bare disc has no part that 48 V would harm, but the jump is a loud bang in every loudspeaker, and the "
            "disc's leakage crackles."
        ]
    node = f"transistor's {found.node}" if found.node in ("source", "drain") else "stage's output"
    gate = max(-found.v_gs, -found.v_gd)
    whose = "" if found.transistor == "Q1" else f" of {found.transistor}"
    handed = (
        "At the moment of plugging in the output capacitor hands the jump on"
        if found.blocked
        else "No output capacitor stands in the way"
    )
    said = [
        f"{handed}: the {node} is driven to {show(found.stage_v, 'V')} by {show(found.peak_a, 'A', 2)}.",
        f"The gate junction{whose} then stands {show(gate, 'V')} in reverse; this type is rated "
        f"{found.gate_limit_v:g} V: "
        + ("within its rating." if found.gate_safe else "beyond its rating, it may be destroyed."),
        _reversal(found),
    ]
    return said


def across(found: Phantom) -> str:
    """What the output capacitor holds in the end, for a table."""
    if not found.blocked:
        return "none"
    way = "the wrong way round" if found.reversed else "the right way round"
    bears = "" if found.capacitor_safe else ": film, bipolar or two back to back"
    return f"{show(abs(found.capacitor_v), 'V', 2)}, {way}{bears}"


def fed_sentence(found: Phantom) -> str:
    """What the few volts do that a socket feeds small microphones with, and what to do about it."""
    volt = f"This socket can feed {show(found.supply_v, 'V', 2)} for small microphones (plug-in power)"
    if not found.blocked:
        if not found.disturbs:
            return f"{volt}; no output capacitor holds it off, yet your stage hardly minds. Volume down: it pops."
        way = "more" if found.current_part > 0 else "less"
        return (
            f"{volt}: with no output capacitor the transistor's current becomes {abs(found.current_part):.0%} {way}. "
            "Switch it off at the input, or put a film output capacitor in."
        ).replace("%", " %")
    if not found.reversed:
        return f"{volt}: the output capacitor holds it off, the right way round. Volume down: it pops."
    held = f"{volt}: in the end the output capacitor holds {show(-found.capacitor_v, 'V', 2)} the wrong way round"
    if found.capacitor_safe:
        return f"{held}. It bears that: film, or so little that an electrolytic does. Volume down: it pops."
    return (
        f"{held}, and an electrolytic fails of that. Switch it off at the input, or take a film or bipolar capacitor, "
        "or two electrolytics of twice the value back to back."
    )


def _reversal(found: Phantom) -> str:
    if not found.blocked:
        return "And there it stays for as long as the plug is in."
    end = found.capacitor_v
    if end >= 0:
        return f"In the end the output capacitor holds {show(end, 'V')}, the right way round."
    held = f"In the end the output capacitor holds {show(-end, 'V')} the wrong way round"
    if found.capacitor_safe:
        return f"{held}: a film capacitor rated {found.reverse_limit_v:g} V bears it."
    return (
        f"{held}. An electrolytic bears about {found.reverse_limit_v:g} V for long: it leaks, heats and fails. A film "
        "capacitor rated 63 V would bear it."
    )


# -- plugging in --------------------------------------------------------------------------------------------------
def plugging_sentences(found: Plugging | None) -> list[str]:
    """Direct voltage, thump and settling."""
    if found is None:
        return ["A bare pickup passes no direct voltage: nothing thumps but the plug itself. Mute all the same."]
    if not found.blocked:
        if max(abs(found.dc_v), abs(found.step_v)) < NO_VOLT:
            return ["No output capacitor is there, and no direct voltage stands on the jack."]
        return [
            f"No output capacitor holds the stage's voltage back: {volts(found.dc_v)} stands on the jack for good. "
            "What is plugged in has to block it, and plugging in makes a thump of up to "
            f"{volts(found.step_v)}: mute first."
        ]
    held = f"The output capacitor holds back {show(found.rest_v, 'V')}."
    if abs(found.rest_v) < NO_VOLT:
        said = ["No direct voltage stands before the output capacitor, so none leaks through to the jack."]
    elif abs(found.dc_worst_v) < NO_VOLT:
        said = [f"{held} Next to nothing leaks through to the jack."]
    else:
        said = [
            f"{held} What leaks through leaves {volts(found.dc_v)} on the jack, {volts(found.dc_worst_v)} with the "
            "leakiest part the makers allow."
        ]
    if abs(found.step_v) > SETTLED_V:
        time = f" and takes {show(found.settle_s, 's', 2)} to settle" if found.settle_s > 0 else ""
        said.append(f"Plugged in after a minute alone, the jack jumps by {volts(found.step_v)}{time}.")
    elif abs(found.step_v) >= NO_VOLT:
        said.append(f"Plugged in after a minute alone, the jack jumps by {volts(found.step_v)}: hardly a tick.")
    else:
        said.append("Plugged in after a minute alone, the jack does not jump.")
    if found.switch_on_s > 0:
        said.append(
            f"If the plug also switches the battery on, up to {volts(found.switch_on_v)} comes through and takes "
            f"{show(found.switch_on_s, 's', 2)} to settle, whatever the capacitor's leakage."
        )
    return said


def volts(value: float) -> str:
    """A voltage, or that there is none."""
    return show(value, "V", 2) if abs(value) >= NO_VOLT else "no voltage"


def remedy_name(remedy: Remedy) -> str:
    """A remedy against the thump in words."""
    if remedy.unit == "F":
        return f"smaller capacitor: {show(remedy.value, 'F', 2)}, film"
    return f"smaller bleed: {show(remedy.value, 'ohm', 2)}"


# -- a second pickup ----------------------------------------------------------------------------------------------
def together(level_db: float) -> str:
    """Two equal signals together, against one alone."""
    if math.isnan(level_db):
        return "nothing to add"
    if level_db < -20:
        return "cancelled"
    return f"{abs(level_db):.1f} dB {'louder' if level_db >= 0 else 'weaker'}"
