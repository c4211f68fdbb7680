"""Words for the fault finder, put together from the texts of data/faults.toml."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.quantity import show
from piezolab.sheets.words import lane_name
from piezolab.studies.faults.diagnosis import Diagnosis, FaultShare, Step
from piezolab.studies.faults.hearing import FINE, WORDS
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.readings import UNITS, Check, Reading

OVER = "over range"
_ENDS = {
    "clip": "the clip",
    "plug": "the far plug",
    "cable": "the cable",
    "load": "the far plug",
    "input": "the amplifier",
}


class _Names(dict):
    """Names for a template; what is not there stays as it is."""

    def __missing__(self, key: str) -> str:
        return "the part" if key in ("part", "other") else key


def part_words(name: str, chain: SignalChain) -> str:
    """A part with what it is: the source resistor R_S."""
    labels = {part.name: part.label for part in assemble(chain.values).parts}
    label = labels.get(name)
    return f"the {label} {name.replace('_', '')}" if label else name.replace("_", "")


def place_words(place: str) -> str:
    """Where a probe goes."""
    return _ENDS.get(place, f"the {lane_name(place)} lane")


def spot_words(spot: str, chain: SignalChain) -> str:
    """A place to look at."""
    head, _, tail = spot.partition(":")
    names = _Names()
    if head in ("part", "transistor"):
        names["part"] = part_words(tail, chain)
    elif head == "swap":
        one, _, other = tail.partition("+")
        names |= {"part": part_words(one, chain), "other": part_words(other, chain)}
    elif head == "bridge":
        one, _, other = tail.partition("|")
        names |= {"a": place_words(one), "b": place_words(other)}
    label = knowledge().texts["spots"][head]["label"]
    return label.format_map(names).replace("the transistor the transistor", "the transistor")


def _fault_names(parts: tuple[str, ...], spot: str, chain: SignalChain) -> Mapping[str, str]:
    nodes = {part.name: part.nodes for part in assemble(chain.values).parts}
    names = _Names(lead="one lead", b="another lane", a="one lane", place="there")
    if parts:
        names["part"] = part_words(parts[0], chain)
        ends = nodes.get(parts[0], ())
        if len(ends) >= 2:
            names |= {"a": place_words(ends[0]), "b": place_words(ends[1])}
    if len(parts) > 1:
        names["other"] = part_words(parts[1], chain)
    head, _, tail = spot.partition(":")
    if head == "bridge":
        one, _, other = tail.partition("|")
        names |= {"a": place_words(one), "b": place_words(other)}
    return names


def fault_texts(fault: FaultShare | Hypothesis, chain: SignalChain) -> Mapping[str, str]:
    """Of a fault: `mend` (the repair), `reads` (what it does), `shows` (what would show it)."""
    texts = knowledge().texts["kinds"].get(fault.kind)
    if texts is None:
        return {"mend": "Nothing to mend.", "reads": "All is as it should be.", "shows": "Play it."}
    names = _fault_names(fault.parts, fault.spot, chain)
    said = {key: texts[key].format_map(names) for key in ("mend", "reads", "shows")}
    return {key: text[:1].upper() + text[1:] for key, text in said.items()}


def mends(faults: Sequence[FaultShare], chain: SignalChain) -> list[tuple[str, str, float]]:
    """Repair, what the fault does, and probability; faults that are mended alike are one."""
    found: dict[tuple[str, str], float] = {}
    for fault in faults:
        texts = fault_texts(fault, chain)
        key = (texts["mend"], texts["reads"])
        found[key] = found.get(key, 0.0) + fault.probability
    return [(mend, reads, share) for (mend, reads), share in sorted(found.items(), key=lambda item: -item[1])]


def check_words(check: Check) -> str:
    """What is read."""
    return _check_texts(check)["label"].format_map(_Names(place=place_words(check.place)))


def check_how(check: Check) -> tuple[str, str]:
    """How it is read, and the caution that goes with it ("" where none does)."""
    texts = _check_texts(check)
    return texts["how"].format_map(_Names(place=place_words(check.place))), texts.get("caution", "")


def _check_texts(check: Check) -> Mapping[str, str]:
    table = knowledge().texts["checks"]
    return table.get(f"{check.kind}_{check.place}", table[check.kind])


def value_words(kind: str, value: float | str) -> str:
    """A reading as the display has it."""
    if isinstance(value, str):
        return value
    if math.isinf(value):
        return OVER
    return show(float(value), UNITS[kind])


def reading_words(reading: Reading) -> str:
    """A reading that was taken."""
    return f"{check_words(reading.check)}: {value_words(reading.kind, reading.value)}"


def expected_words(step: Step, chain: SignalChain) -> list[str]:
    """What the next reading would say for the likeliest places."""
    said = []
    for spot, expected in step.expected:
        if isinstance(expected, str):
            words = expected
        else:
            low, high = (value_words(step.check.kind, end) for end in expected)
            words = low if low == high else f"{low} to {high}"
        where = "nothing is wrong" if spot == "healthy" else f"it is {spot_words(spot, chain)}"
        said.append(f"{words}, if {where}")
    return said


def heard_words() -> dict[str, str]:
    """Words for what is heard, with their labels; the last one says that all sounds well."""
    return {**{word: knowledge().texts["heard"][word]["label"] for word in WORDS}, FINE: "it sounds fine"}


def verdict(found: Diagnosis, chain: SignalChain, taken: int) -> str:
    """The likeliest place, or what to do first."""
    if found.stop:
        return str(knowledge().texts["stop"]["text"])
    first = found.spots[0]
    share = f"{100 * first.probability:.0f} %"
    if not taken:
        return "Say what you hear and take the reading that is asked for; each one narrows it down."
    if found.two_suspected:
        return "No single fault fits these readings: probably two things are wrong. Mend the likeliest, measure again."
    words = spot_words(first.spot, chain)
    if first.spot == "healthy":
        sure = "Nothing seems to be wrong with the build" if found.found else "It may well be that nothing is wrong"
        return f"{sure} ({share}). Try another cable, input and battery."
    return f"{'Look at' if found.found else 'So far most likely:'} {words} ({share})."
