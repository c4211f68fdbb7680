"""Answers that people type: read as they write them, and judged; a wrong one is told which slip it looks like."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from piezolab.fields import parse_field
from piezolab.quantity import QuantityError, parse, show

WHAT = "your answer"
MOST_ANSWER = 60
_GROUPS = re.compile(r"(?<![\d.,])[0-9]{1,3}(?:[ '][0-9]{3})+(?![0-9])")
_MINUS = re.compile(r"^(?:minus|negative)\s+(?=[0-9.,])", re.I)
#: How losses are said; only levels are.
_DOWN = re.compile(r"^[+-]?(?P<size>[0-9.,]+)\s*(?:dB)?\s*(?:down|below|under|lower|less|lost|quieter)$", re.I)
_SPACES = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "−": "-", "–": "-", "’": "'"})


def read_answer(text: str, unit: str = "") -> float:
    """A typed answer in the base unit: all that `parse_field` takes, with the same value, and besides digits in groups
    (`70 000`), `minus 17`, and for levels `17 dB down`, which is negative.

    Raises QuantityError as `parse_field` does, with the text as it was typed.
    """
    clean = text.translate(_SPACES).strip() if isinstance(text, str) and len(text) <= MOST_ANSWER else text
    if not isinstance(clean, str) or not clean:
        return parse_field(text, unit, what=WHAT)
    said = _MINUS.sub("-", clean)
    down = _DOWN.match(said) if unit == "dB" else None
    said = f"-{down['size']} dB" if down else said
    said = _GROUPS.sub(lambda found: re.sub("[ ']", "", found[0]), said)
    try:
        return parse_field(said, unit, what=WHAT)
    except QuantityError as error:
        raise QuantityError(str(error).replace(repr(said), repr(text), 1)) from None


def agrees(value: float, right: float, unit: str, within: float) -> bool:
    """Whether an answer is right: inside the relative tolerance, or the figure at the digits that the page shows, or at
    two significant digits. Both in the base unit."""
    if not math.isfinite(right):
        return False
    if abs(value - right) <= within * abs(right):
        return True
    rounded = (parse(show(right, unit), unit), float(f"{right:.2g}"))
    return any(math.isclose(value, one, rel_tol=1e-9, abs_tol=1e-15) for one in rounded)


@dataclass(frozen=True)
class Asked:
    """What a number task asks for.

    right: the figure in the base unit of `unit`; within: relative tolerance; two_pi: the formula has a 2π that can be
    forgotten; elsewhere: other figures that somebody may have read, worked out when they are needed, each with the
    sentence that says where it belongs.
    """

    right: float
    unit: str = ""
    within: float = 0.05
    two_pi: bool = False
    elsewhere: Sequence[tuple[Callable[[], float | None], str]] = ()


def judged(text: str, asked: Asked) -> tuple[bool, str]:
    """Whether a typed answer is right, and the sentence: the figure, or what seems to have gone wrong."""
    try:
        value = read_answer(text, asked.unit)
    except QuantityError as error:
        return False, str(error)
    if agrees(value, asked.right, asked.unit, asked.within):
        return True, f"Right: {show(asked.right, asked.unit)}."
    for find, sentence in asked.elsewhere:
        other = find()
        if other is not None and agrees(value, other, asked.unit, min(asked.within, 0.02)):
            return False, sentence
    return False, _slip(value, asked)


def _slip(value: float, asked: Asked) -> str:
    right = asked.right
    if asked.unit == "dB":
        if slip := _level_slip(value, right):
            return slip
    elif slip := _ratio_slip(value, asked):
        return slip
    if right * value < 0:
        size = "The size is right" if agrees(-value, right, asked.unit, asked.within) else "Not yet"
        why = "what is lost, or lies under something, is negative" if right < 0 else "it is positive"
        return f"{size}, but mind the sign: {why}."
    if right < 0:
        return f"Not yet: it is {'further below' if value > right else 'nearer to'} 0 than that."
    return f"Not yet: {'less' if value > right else 'more'} than that."


def _level_slip(value: float, right: float) -> str:
    """A ratio that was not made a level, and ten times the logarithm where twenty are due; "" for neither."""
    if 0 < value < 1 and right < -1 and math.isclose(20 * math.log10(value), right, rel_tol=0.05):
        return "That is the ratio. As a level it is 20 times the logarithm of it, in dB."
    if value * right > 0 and math.isclose(value, right / 2, rel_tol=0.02) and abs(right) >= 2:
        return "Half of it: for voltages a level is 20 times the logarithm, not 10 times."
    return ""


def _ratio_slip(value: float, asked: Asked) -> str:
    """A forgotten 2π and slips of the decimal point; "" for neither. Decibels have no prefixes."""
    if not value or not asked.right or value * asked.right < 0:
        return ""
    ratio = value / asked.right
    if asked.two_pi and any(math.isclose(ratio, off, rel_tol=0.06) for off in (2 * math.pi, 1 / (2 * math.pi))):
        return "Not yet: you are out by a factor of 2π."
    places = round(math.log10(ratio))
    if places and math.isclose(ratio, 10.0**places, rel_tol=0.06):
        if places % 3 == 0:
            times = f"{10 ** abs(places):,} times too {_size(ratio)}"
            return f"The digits are right, but it is {times}: look at the prefix."
        return f"The digits are right, but the point is {abs(places)} {_noun(places)} off: too {_size(ratio)}."
    if ratio >= 8 or ratio <= 1 / 8:
        return "Not yet: it is out by about ten times or more. Look at the prefixes."
    return ""


def _size(ratio: float) -> str:
    return "large" if ratio > 1 else "small"


def _noun(places: int) -> str:
    return "place" if abs(places) == 1 else "places"
