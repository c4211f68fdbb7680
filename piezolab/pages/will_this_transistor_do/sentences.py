"""Words for the second chapter: whether a transistor works, what its regions sound like, what a search found."""

from __future__ import annotations

import math
from collections.abc import Mapping

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.pages.kit.battery_words import volts
from piezolab.pages.kit.clip_words import stage_edge_sentences
from piezolab.pages.kit.sentences import not_working
from piezolab.pages.kit.wish_words import FAILS
from piezolab.quantity import show
from piezolab.studies.bias import Bias
from piezolab.studies.choosing.best_resistor import CURRENT, GAIN, GATE, SATURATION, BestResistor, ResistorChoice
from piezolab.studies.choosing.improvement import EVEN, ROOM, SOURCE, Improvement
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.in_hand.two_readings import TransistorInHand
from piezolab.studies.judging.edges import ClipEdges

#: State of the transistor -> what it is and what it sounds like.
STATES = {
    "saturation": (
        "saturation",
        "The gate alone sets the current, whatever the battery does. This is where a stage works.",
        "Clean until the strokes get too large.",
    ),
    "triode": (
        "triode region",
        "Too little voltage is left from drain to source; the channel is a mere resistance.",
        "Weak and squashed, distorted early, and the battery's state is heard.",
    ),
    "cut-off": (
        "cut-off",
        "The gate is so far under the source that no current flows.",
        "Nothing, or a splutter on the hardest strokes.",
    ),
    "conducting": (
        "gate conducts",
        "The gate is above the source and lets current through, so that it loads the pickup.",
        "Weak and rasping: one half of each swing is cut off, and after a hard stroke the sound comes back late.",
    ),
}


#: Where a transistor that was measured is.
IN, NOT_YET = "It is in this chain.", "It is not in the chain yet."


def whose(chain: SignalChain) -> str:
    """The transistor in words: your J113, a typical J113."""
    return f"your {chain.type_number}" if chain.transistor_measured else f"a typical {chain.type_number}"


def verdict(chain: SignalChain, rest: Bias, spent: Bias | None, edges: ClipEdges, share: float | None) -> str:
    """Whether it works, until when, and how loud. spent: at the battery's end voltage; share: of the type's parts that
    work here, None where the transistor was measured."""
    said = [works(chain, rest, spent)]
    if not not_working(rest):
        said += stage_edge_sentences(edges)
    if share is not None:
        said.append(_share(chain, share))
    return " ".join(said)


def works(chain: SignalChain, rest: Bias, spent: Bias | None) -> str:
    """Whether it works at rest, and to the end of the battery where `spent` is known."""
    name, title, broken = whose(chain), chain.topology.title, not_working(rest)
    name = name[0].upper() + name[1:]
    if broken:
        return f"{name} does not work in this {title}: {broken}"
    if spent is not None and not_working(spent):
        return f"{name} works in this {title} only while the battery is fresh: with a spent one {not_working(spent)}"
    until = " until the battery is spent" if spent is not None else ""
    return f"{name} works in this {title}{until}."


def _share(chain: SignalChain, share: float) -> str:
    count = round(100 * share)
    if count == 100:
        return f"Nearly every {chain.type_number} would work."
    if count == 0:
        return f"Hardly any {chain.type_number} would work."
    return f"About {count} of 100 would work."


def advice(chain: SignalChain, rest: Bias, headroom_v: float) -> list[str]:
    """What would help."""
    said = []
    if not_working(rest) or headroom_v < chain.play_v:
        said.append("“Solve it backwards” below finds others.")
    return said


def hand(found: TransistorInHand, outside: tuple[str, ...], jfet: str) -> str:
    """What two readings say."""
    idss, vgsoff = float(found.idss), float(found.vgsoff)
    if not bool(found.decided):
        return (
            f"The readings cannot tell: they lie too close together for their last digit. V_GS(off) is about "
            f"{show(vgsoff, 'V')}, I_DSS at least {show(float(found.idss_range[0]), 'A', 2)}. Take a smaller first "
            "resistor, or one more digit."
        )
    low, high = (float(end) for end in found.idss_range)
    far, near = (float(end) for end in found.vgsoff_range)
    said = [
        f"I_DSS is {show(idss, 'A')} at {show(found.vds, 'V', 1)} (between {show(low, 'A')} and {show(high, 'A')}), "
        f"V_GS(off) is {show(vgsoff, 'V')} (between {show(far, 'V')} and {show(near, 'V')})."
    ]
    if bool(found.triode[0]):
        said.append("The jig's supply was too low to bring it into saturation; a higher one would tell more.")
    if outside:
        what = " and ".join({"idss": "I_DSS", "vgsoff": "V_GS(off)"}[name] for name in outside)
        said.append(f"{what} is outside what the sheet of the {jfet} allows: look at the marking and the pins again.")
    return " ".join(said)


def resistors(changes: Mapping[str, float]) -> str:
    """The resistors of an answer: source resistor 2k2, drain resistor 4k7."""
    from piezolab.quantity import letter_code

    table = all_parameters()
    return ", ".join(f"{table[key].label} {letter_code(ohm, 'ohm')}" for key, ohm in changes.items())


_BLAME = {
    SATURATION: "none keeps it in saturation at every supply voltage that it will see",
    GATE: "none keeps the gate from conducting",
    CURRENT: "none lets a useful current flow (0.1 to 1 mA)",
    GAIN: "none gives that much gain",
}
_BLAME_TOGETHER = {SATURATION: "saturation", GATE: "a quiet gate", CURRENT: "a useful current", GAIN: "that much gain"}


_BRINGS = {
    SATURATION: "it stays in saturation",
    GATE: "its gate stays quiet",
    CURRENT: "a useful current flows (0.1 to 1 mA)",
    GAIN: "it gives the gain",
    ROOM: "hard playing has more room",
    EVEN: "clipping becomes more even",
    SOURCE: "the source comes nearer to your voltage",
}


def solved(chain: SignalChain, found: BestResistor, brings: Improvement, choice: ResistorChoice) -> str:
    """The answer of the backward search: before and after, and what it brings of what was asked for."""
    who = f"the {chain.type_number} at large" if choice.whole_type and not chain.transistor_measured else whose(chain)
    if not found.feasible:
        if len(found.missed) == 1:
            why = f"of the {choice.series} values {_BLAME[found.missed[0]]}"
        else:
            why = f"no {choice.series} value has all at once: " + " and ".join(_BLAME_TOGETHER[m] for m in found.missed)
        near = f" Nearest: {resistors(found.changes)}"
        near += f", which suits {round(100 * found.share)} of 100 parts." if choice.whole_type and found.share else "."
        return f"For {who} nothing works: {why}.{near}"
    before = brings.before
    has = {key: float(chain[key]) for key in found.changes}
    said = [f"For {who}: {resistors(found.changes)}."]
    if has == found.changes:
        return " ".join([*said, *_figures(chain, found)])
    if brings.brings:
        said.append(f"Against your {resistors(has)}: {', and '.join(_BRINGS[name] for name in brings.brings)}.")
        if brings.costs:
            said.append(f"But then {' and '.join(f'it {FAILS[name]}' for name in brings.costs)}.")
        return " ".join([*said, *_before_after(chain, before, found)])
    why = "it brings nothing of what you asked for"
    if brings.costs:
        why = " and ".join(f"it {FAILS[name]}" for name in brings.costs)
    return f"Keep your {resistors(has)}: {resistors(found.changes)} would be another choice, but {why}."


def _figures(chain: SignalChain, found: BestResistor) -> list[str]:
    """What the resistors in the chain give."""
    said = [f"The source rests at {volts(found.source_v)}."]
    if math.isfinite(found.headroom_v):
        when = "" if battery_range(chain) is None else "Down to a spent battery "
        said.append(
            f"{when}{'the' if when else 'The'} stage alone does not clip up to strokes of {volts(found.headroom_v)}."
        )
    if math.isfinite(found.imbalance_db):
        said.append(f"One side of the swing has {found.imbalance_db:.0f} dB more room than the other.")
    return said


def _before_after(chain: SignalChain, before: BestResistor, after: BestResistor) -> list[str]:
    """Source voltage, clip edge and evenness, then and now."""
    if not before.feasible:
        return _figures(chain, after)
    said = [f"Source at rest: {volts(before.source_v)} → {volts(after.source_v)}."]
    if math.isfinite(before.headroom_v) and math.isfinite(after.headroom_v):
        when = "" if battery_range(chain) is None else " down to a spent battery"
        edges = f"{volts(before.headroom_v)} → {volts(after.headroom_v)}"
        said.append(f"The stage alone does not clip{when} up to strokes of {edges}.")
    if math.isfinite(before.imbalance_db) and math.isfinite(after.imbalance_db):
        said.append(
            f"One side of the swing has more room than the other: {before.imbalance_db:.0f} dB → "
            f"{after.imbalance_db:.0f} dB."
        )
    return said
