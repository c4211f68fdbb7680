"""The sections of the chapter on cable and input: each makes its HTML or figure from the chain alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import bullets, paragraphs, table
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import PlotSection, Section
from piezolab.pages.kit.sentences import decibel_words, lowest, pitch_words
from piezolab.pages.kit.worth_words import RULE, second_sentence, worth_sentence
from piezolab.pages.what_do_cable_and_input_change import sentences as say
from piezolab.pages.what_do_cable_and_input_change.length_figure import lengths
from piezolab.quantity import show
from piezolab.studies.inputs import (
    POINTLESS_DB,
    InputRow,
    beside,
    compare_inputs,
    placement,
    this_input,
)
from piezolab.studies.judging.worth import second_worth, worth, worth_by_input
from piezolab.studies.output import load_impedance, output_corner, output_impedance
from piezolab.studies.phantom import FEED_OHM, SUPPLY_V, phantom, plug_in_power
from piezolab.studies.plugging import SETTLED_V, plugging, remedies
from piezolab.studies.polarity import second_pickup
from piezolab.studies.response import response

_SECONDS_SHOWN = 6  # worst partners of a second input


def sections(state: PageState) -> Sequence[Any]:
    """All of them, those that are looked at most standing open."""
    return [
        Section(state, "inputs", "Every kind of input here, the worst first", every_input, care=PLUGGING),
        PlotSection(state, "How long may lead and cable be?", lengths, height_px=320),
        Section(state, "worth", "When is a stage worth it?", stage_or_not, folded=True),
        Section(state, "bridging", "Does the input ask too much of the output?", bridging, folded=True),
        Section(state, "corners", "Where bass and treble end", corners, folded=True),
        Section(state, "place", "Stage in the instrument, or in a box at the far end?", near_or_far, folded=True),
        Section(state, "two", "Two inputs at once", two_inputs, folded=True),
        Section(state, "thump", "Direct voltage and the thump of plugging in", thump, folded=True),
        Section(state, "phantom", "If phantom or plug-in power reaches it", phantom_power, folded=True),
        Section(state, "polarity", "Which way up? A second pickup beside this one", which_way_up, folded=True),
    ]

THROUGH = (
    "A splitting lead or a plain through-jack puts both on your output: the first row. With a buffered through-jack "
    "the device that has it loads the output alone: its own row."
)


# -- inputs -------------------------------------------------------------------------------------------------------
PLUGGING = (
    "Before you plug in or pull out: volume down, headphones off, phantom power off. The clip of a mains-powered "
    "oscilloscope is protective earth: join it to ground only."
)


def _input_table(first: str, rows: Sequence[InputRow], own: Sequence[str], chain: SignalChain, caption: str) -> str:
    note = lowest(chain).display
    numbers = (f"{note} lost, dB", f"{say.TREBLE} lost, dB", "ratio")
    head = f'<th scope="col">{escape(first)}</th>'
    head += "".join(f'<th scope="col" class="pz-thin">{escape(name)}</th>' for name in numbers)
    body = "".join(_input_line(row, row.kind in own) for row in rows)
    inside = f"<caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody>"
    return f'<div class="pz-scroll"><table>{inside}</table></div>'


def _input_line(row: InputRow, own: bool) -> str:
    """One input, the reason under its name: a column of its own would leave a phone no room for the numbers."""
    name = f"<strong>{escape(say.label(row.kind))} (yours)</strong>" if own else escape(say.label(row.kind))
    both = (say.lost(loss).removesuffix("\u00a0dB") for loss in (row.low_note_load_db, row.treble_load_db))
    cells = (*both, say.ratio_words(row.bridging))
    told = f'<br><span class="pz-hint">{escape(say.reasons(row))}</span>'
    thin = "".join(f'<td class="pz-thin">{escape(cell)}</td>' for cell in cells)
    return f'<tr><th scope="row">{name}{told}</th>{thin}</tr>'


def every_input(chain: SignalChain) -> str:
    """Every kind of input of the catalogue on this chain."""
    caption = (
        f"{chain.values.cable_m:g} m of cable, each input as its kind commonly is (typical, not yours). Lost: against "
        f"nothing plugged in. Ratio: the input's impedance over the output's, at 1 kHz. Hard "
        f"playing: {show(chain.play_v, 'V', 2)} at the pickup."
    )
    return _input_table("input", compare_inputs(chain), chain.input, chain, caption)


def two_inputs(chain: SignalChain) -> str:
    """The chain's own pair, or what a second input would do."""
    ground = (
        "Two devices on one cable can close a ground loop and hum: feed both from one outlet strip, run one from "
        "batteries, or put an audio isolating transformer between. Never lift a protective earth."
    )
    if len(chain.input) > 1:
        row = this_input(chain)
        single = [r for r in compare_inputs(chain) if r.kind in chain.input]
        caption = "Together their resistances are in parallel and their capacitances add; the touchier one clips first."
        ground = f"{THROUGH} {ground}"
        return _input_table("input", [row, *single], (), chain, caption) + paragraphs(ground)
    caption = (
        f"{say.plugged(chain)[0].upper()}{say.plugged(chain)[1:]}, and a second input on the same cable: the "
        f"{_SECONDS_SHOWN} worst and the mildest. Choose one with “and at the same time” to keep it."
    )
    rows = beside(chain)
    return _input_table("beside it", [*rows[:_SECONDS_SHOWN], rows[-1]], (), chain, caption) + paragraphs(ground)


def near_or_far(chain: SignalChain) -> str:
    """The same stage before or after the cable."""
    if not chain.topology.powered:
        return paragraphs("With no stage there is none to place: put a follower in to compare.")
    found, note = placement(chain), lowest(chain).display
    rows = [
        ("in the instrument", decibel_words(found.near_low_note_db), decibel_words(found.near_db)),
        ("in a box at the far end", decibel_words(found.far_low_note_db), decibel_words(found.far_db)),
    ]
    if not math.isfinite(found.near_db + found.near_low_note_db):
        return paragraphs("No signal comes out of this stage, wherever it stands.")
    less = max(found.near_db - found.far_db, found.near_low_note_db - found.far_low_note_db)
    length = f"{chain.values.cable_m:g} m of cable"
    if less < POINTLESS_DB:
        verdict = f"For the level it makes no difference here: {length} is little beside your pickup's capacitance."
    else:
        verdict = f"In a box at the far end you lose {less:.1f} dB more: {length} hangs on the bare pickup."
    hum = (
        "What the level does not show: from instrument to box the cable then carries the bare pickup's signal, and "
        "hum and crackle that get into it cannot be told from the sound. A box close to the instrument, on a short "
        "cable, is nearly as good as a stage inside."
    )
    return (
        paragraphs(verdict)
        + table(("the stage", note, "1 kHz"), rows, "Against the unloaded pickup.")
        + paragraphs(hum)
    )


def stage_or_not(chain: SignalChain) -> str:
    """Where a stage is worth it: this input first, then all kinds."""
    groups: dict[str, list[str]] = {"Worth it": [], "Not worth it": [], "No difference": []}
    for kind, found in worth_by_input(chain).items():
        if found.silent or not found.works:
            continue
        word = "Worth it" if found.worth_it else "Not worth it" if found.costs else "No difference"
        groups[word].append(say.label(kind))
    told = [f"{word} into: {'; '.join(kinds)}." for word, kinds in groups.items() if kinds]
    second = second_worth(chain)
    said = [worth_sentence(chain, worth(chain)), *([] if second is None else [second_sentence(chain, second)])]
    return paragraphs(*said) + bullets(told) + paragraphs(RULE)


# -- impedances and corners ---------------------------------------------------------------------------------------
def bridging(chain: SignalChain) -> str:
    """Output impedance, load and their ratio at three frequencies."""
    row, note = this_input(chain), lowest(chain)
    frequency = np.array([note.frequency_hz, 1000.0, 10e3])
    ends, load = output_impedance(chain, frequency), load_impedance(chain, frequency)
    rows = [
        (name, show(abs(z), "ohm"), show(z.real, "ohm"), show(abs(y), "ohm"), say.ratio_words(abs(y) / abs(z)))
        for name, z, y in zip((note.display, "1 kHz", "10 kHz"), ends, load, strict=True)
    ]
    head = ("at", "output impedance", "its resistive part", "cable and input", "ratio with the cable")
    ratio, words = say.ratio_words(row.bridging), say.bridging(row.bridging)
    told = paragraphs(
        f"The input's impedance is {ratio} times the output's at 1 kHz here, so {words}. Ten times or more is the "
        "trade's rule (common practice); equal impedances would halve the level. The cable's capacitance lies beside "
        "the input and lowers the ratio, most in the treble; the table counts it in."
    )
    tail = paragraphs(
        "The magnitude holds the reactance of the output capacitor (or of the bare disc), which grows towards the "
        "bass; the resistive part is what the stage itself puts in the way."
    )
    return told + table(head, rows) + tail


def corners(chain: SignalChain) -> str:
    """Low corner of the output capacitor with the real load, high corner with all capacitance."""
    found, whole = output_corner(chain), response(chain)
    said = []
    if found is None:
        said.append("No output capacitor is in the way: the low end is the bare pickup into its load.")
    else:
        said.append(
            f"The output capacitor of {show(found.capacitor, 'F', 2)} works into {show(found.load_ohm, 'ohm')} (bleed "
            f"resistor and input together) and out of {show(found.stage_ohm, 'ohm')}: alone it would take 3 dB at "
            f"{pitch_words(found.corner_hz)}."
        )
    low, high = whole.low_corner_hz, whole.high_corner_hz
    said.append(
        f"The whole chain is 3 dB down at {pitch_words(low)}."
        if math.isfinite(low)
        else "The whole chain has no low corner worth the name."
    )
    load_c = chain.values.cable_m * chain.values.cable_c + chain.values.input_c
    if math.isfinite(high):
        heard = "far above hearing" if high > 40e3 else "above hearing" if high > 16e3 else "within hearing: it dulls"
        said.append(
            f"Cable and input hang {show(load_c, 'F')} on the output: with that the treble is 3 dB down at "
            f"{show(high, 'Hz')}, {heard}."
        )
    elif not chain.topology.powered:
        said.append(
            f"Cable and input hang {show(load_c, 'F')} on the output. That sets no high corner: a bare pickup is "
            "itself a capacitance, so all notes lose alike."
        )
    else:
        said.append("No high corner is to be found.")
    return bullets(said)


# -- direct voltage, phantom power, polarity ----------------------------------------------------------------------
def thump(chain: SignalChain) -> str:
    """Direct voltage on the jack, the thump, and what helps at what cost."""
    found = plugging(chain)
    said = paragraphs(*say.plugging_sentences(found))
    if found is None:
        return said
    note = lowest(chain).display
    rows = [("mute before plugging in", "not heard", "none", "none", "unchanged")]
    for remedy in remedies(chain):
        then = remedy.then
        corner = show(remedy.low_corner_hz, "Hz") if math.isfinite(remedy.low_corner_hz) else "none"
        cost, level = say.lost(remedy.low_note_cost_db), say.lost(remedy.level_cost_db)
        rows.append((say.remedy_name(remedy), say.volts(then.step_v), cost, level, corner))
    head = ("what helps", "thump", f"cost at {note}", "cost at 1 kHz", "low corner")
    quiet = "" if abs(found.step_v) > SETTLED_V else "It is quiet already: nothing needs to change. "
    caption = (
        f"{quiet}Costs are computed for this chain and this input. A typical capacitor; the leakiest is ten times."
    )
    return said + table(head, rows, caption)


def phantom_power(chain: SignalChain) -> str:
    """What 48 V would do, and what to do about it."""
    kinds = [row.label for row in catalogue.inputs().values() if row.phantom]
    intro = (
        f"Microphone inputs can feed {SUPPLY_V:.0f} V through {show(FEED_OHM, 'ohm')} into whatever is plugged in; "
        f"through an adapter lead that reaches your jack. Of the kinds here: {'; '.join(kinds)}."
    )
    do = (
        "Use a transformer box: no direct voltage passes it, and the microphone input gets the low impedance it "
        "expects. (It loads a bare pickup: put the stage before it.)",
        "Or switch phantom power off at the input, wait a minute, then plug in; volume down first.",
        "Never try it out: the bang can harm loudspeakers and ears.",
    )
    told = bullets(say.phantom_sentences(phantom(chain))) + paragraphs("What to do:") + bullets(do)
    return paragraphs(intro) + told + _plug_in(chain)


def _plug_in(chain: SignalChain) -> str:
    """What the sockets that feed small microphones would do, each in a row."""
    rows = {kind: row for kind, row in catalogue.inputs().items() if row.feed_v}
    found = plug_in_power(chain, tuple(rows))
    if not found:
        return paragraphs("The few volts that recorders and headset sockets feed a microphone with harm no bare disc.")
    lines = [
        (
            f"{row.label}: {show(row.feed_v, 'V', 2)} through {show(row.feed_ohm, 'ohm', 2)}",
            say.across(found[kind]),
            "changes" if found[kind].disturbs else "stays",
        )
        for kind, row in rows.items()
    ]
    head = ("it feeds small microphones", "output capacitor in the end", "current at rest")
    return table(head, lines, "Plug-in power, as such sockets commonly have it.")


def which_way_up(chain: SignalChain) -> str:
    """Polarity of the chain, and a second pickup beside it."""
    found = second_pickup(chain)
    turned = "turns the signal upside down" if found.inverts else "leaves the signal the right way up"
    what = f"The {chain.topology.title}" if chain.topology.powered else "A bare pickup"
    said = f"{what} {turned}. Alone you cannot hear that."
    if found.inverts:
        said += " Beside a second pickup you can: what both feel alike cancels, the bass first, and it sounds thin."
    rows = [
        (name, say.together(float(a)), say.together(float(b)))
        for name, a, b in zip((lowest(chain).display, "1 kHz"), found.together_db, found.swapped_db, strict=True)
    ]
    cure = (
        "The cure: swap the two wires of one disc. Its brass side is then hot and takes in more hum, so keep its lead "
        "short and shielded; or use stages of the same kind for both."
        if found.inverts
        else "If two pickups sound thin together and full alone, one disc is wired the other way round: swap its wires."
    )
    head = ("at", "both together", "with one disc's wires swapped")
    caption = "A second pickup that feels the same and is the right way up, equally loud, against one of them alone."
    return paragraphs(said) + table(head, rows, caption) + paragraphs(cure)
