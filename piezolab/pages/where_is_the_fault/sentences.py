"""Words for the fault finder, put together from the texts of data/faults.toml."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND
from piezolab.chain.parts import Part
from piezolab.pages.where_is_the_fault.display_words import on_display, value_words
from piezolab.pages.where_is_the_fault.fault_state import Weighed
from piezolab.pages.where_is_the_fault.heard_words import try_words
from piezolab.quantity import show
from piezolab.sheets.words import lane_name
from piezolab.studies.faults.beforehand import by_eye
from piezolab.studies.faults.diagnosis import Diagnosis, FaultShare, NextReading, SpotShare
from piezolab.studies.faults.hearing import EXCHANGED, LOOKED
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.readings import SWEPT, Check, Reading
from piezolab.studies.faults.simulate import Tone
from piezolab.studies.linear import LinearChain
from piezolab.studies.metering.instrument import Meter

_ENDS = {"clip": "the clip", "plug": "the far plug", "cable": "the cable", "load": "the far plug",
         "input": "the amplifier"}  # fmt: skip
_THINGS = {"jack": "the jack", "disc": "the disc", "cable": "the output cable", "D1": "the polarity diode D1",
           "R_led": "the LED's resistor Rled"}  # fmt: skip
_LEADS = {"sleeve": "the sleeve", "minus": "the minus lead", "cold": "the ground wire"}
_REASONS = {
    "spot": "it tells the likely places apart best",
    "short": "it tells best whether there is a short; until that is ruled out the battery stays out",
    "second": "the likeliest place is known; this would show best whether something else is wrong, too",
    "again": "the last one may have been taken on another lane; a second one decides",
}
_NO_PART = ("bridge", "lane_bridge", "foil")
_JOINTS = re.compile(r", its (leads|pins) and joints$| and its joints$")


class _Names(dict):
    """Names for a template; what is not there stays as it is."""

    def __missing__(self, key: str) -> str:
        return "the part" if key in ("part", "other") else key


def _part(name: str, chain: SignalChain) -> Part | None:
    return next((part for part in LinearChain.of(chain.values).assembly.parts if part.name == name), None)


def part_words(name: str, chain: SignalChain) -> str:
    """A part with what it is: the source resistor R_S."""
    if name in _THINGS:
        return _THINGS[name]
    part = _part(name, chain)
    return f"the {part.label} {name.replace('_', '')}" if part else name.replace("_", "")


def place_words(place: str) -> str:
    """Where a probe goes."""
    return _ENDS.get(place, f"the {lane_name(place)} lane")


def spot_words(spot: str, chain: SignalChain) -> str:
    """A place to look at."""
    head, _, tail = spot.partition(":")
    names = _Names()
    if head in ("part", "transistor", "legs"):
        names["part"] = part_words(tail, chain)
    elif head == "swap":
        one, _, other = tail.partition("+")
        names |= {"part": part_words(one, chain), "other": part_words(other, chain)}
    elif head == "lane":
        names["part"] = place_words(tail)
    elif head == "bridge":
        names |= dict(zip("ab", map(place_words, tail.split("|")), strict=True))
    return str(knowledge().texts["spots"][head]["label"].format_map(names))


def _fault_names(parts: tuple[str, ...], spot: str, chain: SignalChain) -> Mapping[str, str]:
    names = _Names(lead="one lead", b="another lane", a="one lane", place="there")
    if parts:
        names["part"] = part_words(parts[0], chain)
        if (part := _part(parts[0], chain)) is not None and len(part.nodes) >= 2:
            names |= {"a": place_words(part.nodes[0]), "b": place_words(part.nodes[1])}
    if len(parts) > 1:
        names |= {"other": part_words(parts[1], chain), "lead": _LEADS.get(parts[1], "one lead")}
    head, _, tail = spot.partition(":")
    if head == "bridge":
        one, _, other = tail.partition("|")
        names |= {"a": place_words(one), "b": place_words(other)}
        if parts[:1] == ("foil",):
            names["a"] = place_words(one if other == GROUND else other)
    elif head == "legs" and not parts:
        names |= {"a": f"one leg or lane of {part_words(tail, chain)}", "b": "the next"}
    elif head == "lane":
        names["part"] = place_words(tail)
    return names


def fault_texts(fault: FaultShare | Hypothesis, chain: SignalChain) -> Mapping[str, str]:
    """Of a fault: `mend` (the repair), `reads` (what it does), `shows` (what would show it), `caution` (or "")."""
    texts = knowledge().texts["kinds"].get(fault.kind)
    if texts is None:
        return {"mend": "Nothing to mend.", "reads": "All is as it should be.", "shows": "Play it.", "caution": ""}
    names = _fault_names(fault.parts, fault.spot, chain)
    said = {key: texts.get(key, "").format_map(names) for key in ("mend", "reads", "shows", "caution")}
    return {key: text[:1].upper() + text[1:] for key, text in said.items()}


def mends(faults: Sequence[FaultShare], chain: SignalChain) -> list[tuple[str, str, str, float]]:
    """Repair, what the fault does, caution (or ""), and probability; faults that are mended alike are one. What is
    scraped or folded away comes first, before any part is replaced."""
    found: dict[tuple[str, str, str], float] = {}
    first = set()
    for fault in faults:
        texts = fault_texts(fault, chain)
        key = (texts["mend"], texts["reads"], texts["caution"])
        found[key] = found.get(key, 0.0) + fault.probability
        first |= {key} if fault.kind in _NO_PART else set()
    in_order = sorted(found.items(), key=lambda item: (item[0] not in first, -item[1]))
    return [(*words, share) for words, share in in_order]


def hidden_words(fault: Hypothesis, chain: SignalChain, meter: Meter) -> str:
    """What would show a fault that no reading does; of a resistor beyond the meter's range, before it goes in."""
    part = _part(fault.parts[0], chain) if fault.parts else None
    if fault.kind == "open" and part is not None and part.kind == "resistor" and part.value > meter.ohm_max:
        known, both = meter.beside(part.value)
        return (
            "It is larger than this meter shows, so check it before it goes in: beside a resistor of "
            f"{show(known, 'ohm')} both together must read about {show(both, 'ohm', 2)}; {show(known, 'ohm')} means "
            "that it is open."
        )
    return fault_texts(fault, chain)["shows"]


def check_words(check: Check) -> str:
    """What is read."""
    return _check_texts(check)["label"].format_map(_Names(place=place_words(check.place)))


def check_how(check: Check, tone: Tone | None = None) -> tuple[str, str]:
    """How it is read, with a tone where one is fed in, and the caution that goes with it ("" where none does)."""
    texts, tone = _check_texts(check), tone or Tone()
    names = _Names(place=place_words(check.place), tone=show(tone.v_rms, "V", 2), farad=show(tone.farad, "F", 2))
    how = [texts["how"]]
    if check.kind in SWEPT[1:]:  # of the sweep that is told under its first reading
        how.insert(0, _check_texts(Check(SWEPT[0], check.place))["how"])
    return " ".join(how).format_map(names), texts.get("caution", "")


def _check_texts(check: Check) -> Mapping[str, str]:
    table = knowledge().texts["checks"]
    return table.get(f"{check.kind}_{check.place}", table[check.kind])


def reading_words(reading: Reading) -> str:
    """A reading that was taken."""
    return f"{check_words(reading.check)}: {value_words(reading.kind, reading.value, reading.digit)}"


def range_words(step: NextReading, expected: tuple[float, float] | str, meter: Meter) -> str:
    """What a reading would say for one place."""
    if isinstance(expected, str):
        return expected
    low, high = (on_display(step.check.kind, end, meter) for end in expected)
    return low if low == high else f"{low} to {high}"


def expected_words(step: NextReading, chain: SignalChain, meter: Meter) -> list[str]:
    """What the next reading would say for the likeliest places; those that read alike are one."""
    alike: dict[str, list[str]] = {}
    for spot, expected in step.expected:
        alike.setdefault(range_words(step, expected, meter), []).append(spot)
    return [f"{words}, if {_either(spots, chain)}" for words, spots in alike.items()]


def _either(spots: Sequence[str], chain: SignalChain) -> str:
    said = ["nothing is wrong"] if "healthy" in spots else []
    places = [spot_words(spot, chain) for spot in spots if spot != "healthy"]
    if places:
        said.append(f"it is {'; '.join(places[:-1])}{' or ' if places[:-1] else ''}{places[-1]}")
    return " or ".join(said)


def why_words(step: NextReading) -> str:
    """Why this reading and no other."""
    settled = 100 * (1 - 2 ** -max(float(step.bits), 0.0))
    return f"Why this one: {_REASONS[step.reason]} (on average it settles {settled:.0f} % of what is still open)."


def stop_words(turned: bool = False) -> str:
    """What comes before all else where something is hot or a short is probable, or where the battery is reversed."""
    return str(knowledge().texts["stop"]["reversed" if turned else "text"])


def battery_caution(chain: SignalChain) -> str:
    """The caution of the chain's own battery; "" where there is none."""
    if not chain.topology.powered or chain.supply == "adapter":
        return ""
    kind = catalogue.batteries()[chain.supply]
    return f"{kind.label}: {kind.caution}"


def absurd_words(weighed: Weighed) -> str:
    """The question about the first reading in volts that this board cannot have; "" where there is none."""
    for k in weighed.found.absurd:
        reading, most = weighed.readings[k], show(weighed.table.most_v, "V", 2)
        return (
            f"{reading_words(reading)}? Plausible on this board is −{most} to {most}: read it again, with an eye on "
            "the range; until then it is not weighed. Mains near the board: touch nothing."
        )
    return ""


def at_rest(spots: Sequence[SpotShare]) -> str:
    """What to do first, before anything was read or heard."""
    return try_words(LOOKED, by_eye(spots), details=False)


def verdict(weighed: Weighed, chain: SignalChain) -> str:
    """The likeliest place and its repair, or what to do first. Where there is danger and the place is known, both are
    said; the whole warning stands above what is heard."""
    found = weighed.found
    if found.stop:
        known = found.found and not (found.reversed or found.two_suspected or found.absurd)
        if known and found.spots[0].spot != "healthy":
            return repair_words(found, chain)
        return stop_words(found.reversed)
    if found.absurd:
        asked = absurd_words(weighed)
        return asked[:1].upper() + asked[1:]
    first = found.spots[0]
    if found.two_suspected:
        names = "; ".join(spot_words(spot, chain) for spot, _ in found.suspects[:2])
        again = " and ".join(f"no. {n}" for n in weighed.doubted)
        return (
            f"No single fault fits these readings: probably two things are wrong, most likely here: {names}. "
            + (f"Take {again} once more to be sure; mend one" if again else "Mend one")
            + ", then measure again."
        )
    if first.spot == "healthy":
        return _nothing_words(found, chain, EXCHANGED in weighed.heard)
    if not found.found:
        return f"So far most likely: {spot_words(first.spot, chain)} ({100 * first.probability:.0f} %)."
    return repair_words(found, chain)


def _nothing_words(found: Diagnosis, chain: SignalChain, exchanged: bool) -> str:
    """Where nothing wrong is likelier than any one place, though maybe less likely than all of them."""
    first, other = found.spots[:2]
    share = f"{100 * first.probability:.0f} %"
    if first.probability < 0.5 and not found.found:
        place = f"{spot_words(other.spot, chain)} ({100 * other.probability:.0f} %)"
        return f"Something may be wrong, but no place stands out yet: {place}, nothing at all {share}."
    sure = "Nothing seems to be wrong with the build" if found.found else "It may well be that nothing is wrong"
    untried = "input" if exchanged else "cable, input and battery"
    return f"{sure} ({share}). Try another {untried}; below stands what no reading shows."


def repair_words(found: Diagnosis, chain: SignalChain) -> str:
    """The place that was found and its repair, and whether the battery may go in."""
    first, out = found.spots[0], "Battery stays out. " if found.unpowered_only else ""
    place, likeliest = _JOINTS.sub("", spot_words(first.spot, chain)), first.faults[0]
    if likeliest.probability <= 0.5 * first.probability:
        return f"{out}Look at {place} ({100 * first.probability:.0f} %); the likely repairs stand below."
    mend = fault_texts(likeliest, chain)["mend"]
    return f"{out}It is {place} ({100 * first.probability:.0f} %): {mend[:1].lower()}{mend[1:]}"
