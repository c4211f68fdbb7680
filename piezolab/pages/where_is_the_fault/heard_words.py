"""Words for what is heard and known of a board, and for what to try without a meter."""

from __future__ import annotations

from piezolab.studies.faults.hearing import EXCHANGED, FINE, KNOCKED, LOOKED, NEW, WORDS, WORKED
from piezolab.studies.faults.knowledge import knowledge


def heard_words() -> dict[str, str]:
    """Words for what is heard, with their labels: heat comes first, then that all sounds well and what is known."""
    texts = knowledge().texts["heard"]
    heard = {word: texts[word]["label"] for word in ("hot", *(word for word in WORDS if word != "hot"))}
    known = {word: texts[word]["label"] for word in (WORKED, KNOCKED, NEW, LOOKED, EXCHANGED)}
    return {**heard, FINE: "sounds fine", **known}


def try_words(word: str, chance: float, details: bool = True) -> str:
    """What to try without a meter, what it is good for, and how to say that it brought nothing."""
    texts = knowledge().texts["heard"][word]
    how = f", {texts['how']}" if details and "how" in texts else ""
    return f"{texts['try']}{how}: {100 * chance:.0f} % that this finds it. If not, press “{texts['label']}”."
