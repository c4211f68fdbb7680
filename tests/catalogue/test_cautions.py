"""What the texts of the data folder tell people to do carries the caution that belongs to it."""

import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from piezolab.catalogue import data_dir

TEXTS = {path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(data_dir().rglob("*.toml"))}

#: What is told, and what must then stand in the same entry: common practice, no source, but for the first (safety data
#: sheets of 2-propanol, flash point 12 degrees; from memory).
RULES = {
    r"isopropanol|\balcohol\b": r"(?s)(?=.*[Bb]attery and iron off)(?=.*burns)",
    r"touch (of )?(a |the )?(grounded|strings|sleeve|plug)|(strings|sleeve|plug) (is|are) touched": r"residual-current",
    r"(?i)\blithium\b": r"fire",
    r"(?i)\bsand(ed|ing)?\b.*ceramic|ceramic.*\bsand(ed|ing)?\b": r"do not sand",
    r"soldering|\biron\b": r"(?i)burn|hot",
}


def entries(tree: Any) -> Iterator[str]:
    """The texts of each table that holds any, joined."""
    if isinstance(tree, dict):
        own = [value for value in tree.values() if isinstance(value, str)]
        if own:
            yield "\n".join(own)
        for value in tree.values():
            yield from entries(value)
    elif isinstance(tree, list):
        for value in tree:
            yield from entries(value)


def uncautioned(text: str) -> list[str]:
    """The rules that the text breaks."""
    return [told for told, wanted in RULES.items() if re.search(told, text) and not re.search(wanted, text)]


@pytest.mark.parametrize("name", TEXTS)
def test_every_text_carries_its_caution(name: str) -> None:
    for text in entries(TEXTS[name]):
        assert uncautioned(text) == [], text


@pytest.mark.parametrize(
    "bad",
    [
        "Wash it off with isopropanol.",
        "Does the hum change when the strings are touched?",
        "If a touch of a grounded part lowers the hum, it came in this way.",
        "two lithium cells",
        "Sand the ceramic flat.",
        "Hold the iron to it.",
    ],
)
def test_a_text_without_its_caution_is_found(bad: str) -> None:
    assert len(uncautioned(bad)) == 1


def test_the_rules_meet_something() -> None:
    """A rule that no text of the catalogue comes under guards nothing; the ceramic's is for what may come."""
    met = [told for told in RULES if any(re.search(told, text) for tree in TEXTS.values() for text in entries(tree))]
    assert len(met) >= 3


def test_no_text_says_that_a_hot_part_may_be_left_outside_untouched() -> None:
    for tree in TEXTS.values():
        for text in entries(tree):
            assert not re.search(r"outside.*untouched|untouched.*outside", text), text
