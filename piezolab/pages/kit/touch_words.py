"""Words for the one change that a page offers under its verdict, and for what it brings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from piezolab.catalogue.advice_texts import advice_texts
from piezolab.chain import SignalChain
from piezolab.pages.kit.sentences import louder_words, your_note
from piezolab.pages.kit.worth_words import put_label
from piezolab.studies.first_touch import SHIELD_DB, FirstTouch
from piezolab.studies.judging.judgement import judgement

_LABELS = {
    "input": "plug it into an amplifier instead",
    "stage": "put a follower in",
    "shield": "line the box with foil",
    "ceiling": "plug it into a line input instead",
}


@dataclass(frozen=True)
class Offer:
    """label: of the button; brings: what it brought, a sentence; heard: names of the sounds before and after; noises:
    what must be heard along with the note."""

    label: str
    brings: str
    heard: tuple[str, str]
    noises: tuple[str, ...]
    touch: FirstTouch


def offer(
    touch: FirstTouch | None, words: Callable[[SignalChain, FirstTouch], str] | None = None
) -> Offer | None:
    """A change in words; words: for the names of changes that this module does not know."""
    if touch is None:
        return None
    if touch.name == "thin":
        label = put_label(judgement(touch.before).thin)
    elif touch.name in _LABELS:
        label = _LABELS[touch.name]
    elif touch.name in advice_texts():
        title = advice_texts()[touch.name].title
        label = f"try: {title[0].lower()}{title[1:]}"
    else:
        label = f"try: {touch.name if words is None else words(touch.before, touch)}"
    who = "bare, " if touch.bare else ""
    noises = (touch.brings,) if touch.brings in ("hum", "hiss") else ()
    return Offer(label, _brings(touch), (f"{who}before", f"{who}after"), noises, touch)


def _brings(touch: FirstTouch) -> str:
    match touch.brings:
        case "bass":
            note = your_note(touch.before)
            return f"{note[0].upper()}{note[1:]}{', bare,' if touch.bare else ''} is {louder_words(touch.gain_db)}."
        case "level":
            return f"Every note is {louder_words(touch.gain_db)}."
        case "hum" | "hiss":
            assumed = f", taking foil as {SHIELD_DB:.0f}\u00a0dB" if touch.name == "shield" else ""
            return f"{touch.gain_db:.0f}\u00a0dB less {touch.brings}{assumed}."
        case _:
            return f"{touch.gain_db:.0f}\u00a0dB more room."
