"""The fault finder's blocks as HTML: the next reading, the readings taken, the places and their repair, the tables."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import bullets, guard, paragraphs, table
from piezolab.pages.kit.ways import onward
from piezolab.pages.where_is_the_fault import sentences as say
from piezolab.pages.where_is_the_fault.entry import Entry, MeterEntry
from piezolab.pages.where_is_the_fault.feed_words import fed
from piezolab.pages.where_is_the_fault.heard_words import try_words
from piezolab.studies.faults.bands import seen_shares
from piezolab.studies.faults.diagnosis import Diagnosis
from piezolab.studies.faults.hearing import LOOKED
from piezolab.studies.faults.misbuilt import FROM_A_KNOCK
from piezolab.studies.faults.readings import SWEPT
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.metering.instrument import Meter

RECORD = "Did it do what was predicted?"
DRAWING = "The drawing: How do I build it and check it?"
PROTECT = "What a knock does to the gate, and the clamp that keeps it off."
_PLACES = 5
_LEAST_PLACE, _LEAST_MEND = 0.02, 0.01
_MENDS = 3
_ROWS = 9


def next_html(found: Diagnosis, chain: SignalChain, metering: MeterEntry, asked: bool, query: str = "") -> str:
    """The reading that tells most, how to take it, what it would say, and why; asked: it was taken before. A sweep has
    a way, with `query`, to where it is recorded."""
    step = found.next
    if step is None:
        return paragraphs("No further reading would tell more. Mend the likeliest, or look at what no reading shows.")
    said = ""
    if found.found and found.spots[0].spot != "healthy":
        said += paragraphs("The likeliest place is known: mend it first. To be surer, or if it still misbehaves:")
    how, caution = say.check_how(step.check, metering.tone)
    said += f"<p><strong>{escape(say.check_words(step.check))}{', once more' if asked else ''}</strong></p>"
    said += paragraphs(how)
    if step.check.kind in SWEPT:
        said += onward("did-it-do-what-was-predicted", query, RECORD)
    said += guard(caution) + guard(say.battery_caution(chain))
    if found.unpowered_only and not found.stop:
        said += paragraphs("Battery out for now: a short is not ruled out yet.")
    expected = say.expected_words(step, chain, metering.meter)
    if expected:
        said += paragraphs("It would say:") + bullets(expected)
    return fed(said + paragraphs(say.why_words(step)), chain)


def try_html(found: Diagnosis, chain: SignalChain) -> str:
    """What to try first without a meter."""
    return fed("".join(paragraphs(try_words(word, chance)) for word, chance in found.to_try), chain)


def drawing_html(found: Diagnosis, query: str) -> str:
    """A way, with `query`, to the drawing while the board should be compared with it."""
    wanted = any(word == LOOKED for word, _ in found.to_try)
    return onward("how-do-i-build-it-and-check-it", query, DRAWING) if wanted else ""


def taken_html(entries: Sequence[Entry], used: Sequence[int], found: Diagnosis, chain: SignalChain) -> str:
    """The readings so far, with those that are doubtful, that nothing explains, or that this chain does not have."""
    if not entries:
        return ""
    notes = dict.fromkeys((n for n in range(len(entries)) if n not in used), "not weighed: this chain has no such lane")
    notes |= {used[k]: "not weighed: more than this board can have" for k in found.absurd}
    notes |= {used[k]: "doubtful: perhaps the probe was on the next lane" for k, _ in found.doubtful}
    notes |= {used[k]: "no single fault explains it: read it again" for k in found.unexplained}
    rows = []
    for n, entry in enumerate(entries):
        reading = entry.reading
        row = (
            f"{n + 1}. {say.check_words(reading.check)}",
            say.value_words(reading.kind, reading.value, reading.digit),
        )
        rows.append((*row, notes.get(n, "")) if notes else row)
    return fed(table(("reading", "it said", "")[: 3 if notes else 2], rows, "Taken so far."), chain)


def places_html(found: Diagnosis, chain: SignalChain, query: str = "") -> str:
    """The likely places with their faults and repairs; what to mind stands at the first repair that wants it, and a way
    to what keeps knocks off, with `query`, below all where one may have hurt the gate."""
    said, told, knocked = "", set(), False
    if found.two_suspected and found.suspects:
        names = [say.spot_words(spot, chain) for spot, _ in found.suspects[:4]]
        said += paragraphs("Two faults at once: look at " + "; ".join(names) + ".")
    for spot in [s for s in found.spots[:_PLACES] if s.probability >= _LEAST_PLACE]:
        said += f"<h3>{escape(say.spot_words(spot.spot, chain))}: {100 * spot.probability:.0f} %</h3><ul>"
        for n, (mend, reads, caution, share) in enumerate(say.mends(spot.faults, chain)[:_MENDS]):
            if n and share < _LEAST_MEND:
                break
            said += f"<li>{escape(mend)} <span class='pz-hint'>({escape(reads)} {100 * share:.0f} %)</span>"
            said += f"{'' if caution in told else guard(caution)}</li>"
            told.add(caution)
        said += "</ul>"
        knocked |= any(f.kind in FROM_A_KNOCK and f.probability >= _LEAST_MEND for f in spot.faults)
    return fed(said, chain) + (onward("how-loud-before-it-clips", query, PROTECT) if knocked else "")


def expected_html(found: Diagnosis, chain: SignalChain, meter: Meter) -> str:
    """What each of the likeliest places would read, at the readings still worth taking."""
    if found.next is None:
        return ""
    steps = (found.next, *found.others)[:_ROWS]
    head = [
        "reading", *("all well" if spot == "healthy" else say.spot_words(spot, chain) for spot, _ in steps[0].expected)
    ]  # fmt: skip
    rows = [
        (say.check_words(step.check), *(say.range_words(step, expected, meter) for _, expected in step.expected))
        for step in steps
    ]
    told = "What each of the likeliest places would read, the most telling reading first"
    return fed(table(head, rows, f"{told}{'; battery out' if found.unpowered_only else ''}."), chain)


def unseen_html(found: FaultTable, chain: SignalChain, swept: bool = False) -> str:
    """Faults that no reading of this list shows, or none in many builds, and what would; swept: a sweep can be
    recorded."""
    never: dict[str, dict[str, None]] = {}
    often: dict[str, dict[str, None]] = {}
    for fault, seen in zip(found.hypotheses, seen_shares(found, swept), strict=True):
        if fault.kind != "healthy" and seen < found.limits.often_unseen:
            found_by = never if seen < found.limits.unseen else often
            ways = found_by.setdefault(say.spot_words(fault.spot, chain), {})
            ways[say.hidden_words(fault, chain, found.meter)] = None  # each once, in this order
    if not never and not often:
        return paragraphs("Every fault that was thought of shows in some reading.")
    rows = [(place, " ".join(ways)) for place, ways in never.items()]
    rows += [(f"{place} (often)", " ".join(ways)) for place, ways in often.items()]
    return fed(table(("place of a hidden fault", "what would show it"), rows), chain)
