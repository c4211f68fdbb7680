"""Typed answers: read as people write them, right at the digits that the page shows, slips named."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.fields import parse_field
from piezolab.lessons.typed_answers import Asked, agrees, judged, read_answer
from piezolab.quantity import QuantityError, show

TYPED = [
    ("70 000", "ohm", 70e3),
    ("70\u202f000 Ω", "ohm", 70e3),
    ("70'000", "ohm", 70e3),
    ("1 234 567", "ohm", 1234567.0),
    ("70.4k", "ohm", 70.4e3),
    ("17 dB down", "dB", -17.0),
    ("17 down", "dB", -17.0),
    ("-17 dB down", "dB", -17.0),
    ("17,3 dB below", "dB", -17.3),
    ("minus 17", "dB", -17.0),
    ("Minus 17.3 dB", "dB", -17.3),
    ("−17", "dB", -17.0),
    ("468 Hz", "Hz", 468.0),
]


@pytest.mark.parametrize(("text", "unit", "value"), TYPED)
def test_answers_are_read_as_people_write_them(text: str, unit: str, value: float) -> None:
    assert read_answer(text, unit) == pytest.approx(value, rel=1e-12)


UNREAD = [("70 00", "ohm"), ("1 V", "A"), ("", "Hz"), ("17 V down", "V"), ("up", "dB"), ("7" * 400, "Hz"),
          ("1 2", "Hz"), ("70,000", "ohm")]  # fmt: skip


@pytest.mark.parametrize(("text", "unit"), UNREAD)
def test_what_cannot_be_read_is_said_with_the_text_as_typed(text: str, unit: str) -> None:
    with pytest.raises(QuantityError, match="your answer"):
        read_answer(text, unit)


@given(st.text(max_size=70), st.sampled_from(["Hz", "dB", "ohm", ""]))
def test_no_text_fails_in_another_way_and_fields_are_read_as_before(text: str, unit: str) -> None:
    try:
        before = parse_field(text, unit)
    except QuantityError:
        before = None
    try:
        now = read_answer(text, unit)
    except QuantityError:
        now = None
    assert before is None or now == before


RIGHT = st.floats(0.1, 1e6) | st.floats(-80, -1)


@given(RIGHT)
def test_what_the_page_shows_is_right_whatever_the_tolerance(right: float) -> None:
    for unit in ("dB", "Hz"):
        if unit == "Hz" and right < 0:
            continue
        assert judged(show(right, unit), Asked(right, unit, within=1e-9))[0]
        assert agrees(float(f"{right:.2g}"), right, unit, 1e-9)
        assert not agrees(right * 1.2 + math.copysign(0.2, right), right, unit, 0.05)


SLIPS = [
    ("17.3", Asked(-17.3, "dB"), "The size is right, but mind the sign"),
    ("8.65", Asked(17.3, "dB"), "20 times the logarithm, not 10"),
    ("0.136", Asked(-17.3, "dB"), "That is the ratio"),
    ("2.94 kHz", Asked(468.0, "Hz", two_pi=True), "factor of 2π"),
    ("2.94 k", Asked(468.0, "ohm"), "less than that"),
    ("70", Asked(70e3, "ohm"), "1,000 times too small: look at the prefix"),
    ("7000", Asked(70e3, "ohm"), "the point is 1 place off: too small"),
    ("6.5k", Asked(70e3, "ohm"), "about ten times or more"),
    ("50k", Asked(70e3, "ohm"), "more than that"),
    ("-1", Asked(-17.3, "dB"), "further below 0"),
    ("-40", Asked(-17.3, "dB"), "nearer to 0"),
]


@pytest.mark.parametrize(("text", "asked", "words"), SLIPS)
def test_a_wrong_answer_is_told_its_slip(text: str, asked: Asked, words: str) -> None:
    good, sentence = judged(text, asked)
    assert not good
    assert words in sentence


def test_a_figure_of_another_chain_is_told_where_it_belongs() -> None:
    asked = Asked(-49.0, "dB", 0.03, elsewhere=((lambda: None, "never"), (lambda: -27.2, "That was before."),))
    assert judged("-27.2", asked) == (False, "That was before.")
    assert judged("-49", asked)[0]
