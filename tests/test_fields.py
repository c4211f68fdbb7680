"""Values as people type them into fields: a layer over the strict reading."""

import math

import pint
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from piezolab.fields import parse_field
from piezolab.quantity import QuantityError, from_three_digit_code, parse, show, three_digit_code
from piezolab.units import PREFIX_NAMES, PREFIXES, UNITS

units = st.sampled_from(sorted(UNITS))
numbers = st.decimals(0, 9999, places=3).map(lambda n: f"{n.normalize():f}")
#: What people type, and what is next to it.
near = st.lists(
    st.sampled_from([*"0123456789.,'- −µkKMmunpGRrVF", "ohm", "meg", "mega", "kilo", "pico", "farad", "ft", "e6"]),
    max_size=7,
).map("".join)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("10 meg", "ohm", 10e6),
        ("10meg", "ohm", 10e6),
        ("2.2 megohm", "ohm", 2.2e6),
        ("2,2 Megohms", "ohm", 2.2e6),
        ("1 MEG", "ohm", 1e6),
        ("4.7 mega ohm", "ohm", 4.7e6),
        ("3.3 kilohm", "ohm", 3300.0),
        ("3.3 kilo-ohms", "ohm", 3300.0),
        ("15 nanofarads", "F", 15e-9),
        ("4.7 microfarad", "F", 4.7e-6),
        ("100 picofarads", "F", 100e-12),
        ("250 millivolts", "V", 0.25),
        ("1 kilohertz", "Hz", 1000.0),
        # 1 ft = 0.3048 m exactly: international yard and pound agreement, 1959
        ("10 ft", "m", 3.048),
        ("10 feet", "m", 3.048),
        ("1 foot", "m", 0.3048),
        ("6'", "m", 1.8288),
        ("6′", "m", 1.8288),
        ("6’", "m", 1.8288),
        ("1,5 ft", "m", 0.4572),
        ("20 FT.", "m", 6.096),
        (".5 ft", "m", 0.1524),
    ],
)
def test_what_people_type(text, unit, value):
    assert parse_field(text, unit) == value
    with pytest.raises(QuantityError):  # and a link goes on reading what it always read
        parse(text, unit)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        # what is printed on a capacitor, IEC 60062: 20 000 pF, 100 000 pF, 47 pF
        ("203", "F", "'203' would be farads; did you mean 20 nF?"),
        ("104K", "F", "'104K' would be kilofarads; did you mean 100 nF?"),
        ("470J", "F", "'470J' cannot be read; did you mean 47 pF?"),
        ("104M", "F", "did you mean 104m or 104u?"),
        ("10 meg", "F", "'10 meg' would be megafarads; did you mean 10 m or 10 u?"),
        ("10 megohm", "F", "'10 megohm' is in ohms, but farads are expected"),
        ("10 micro", "ohm", "'10 micro' would be microohms"),
        ("1,000 meg", "ohm", "write 1.000 meg or 1000 meg, whichever is meant"),
        ("1,000 ft", "m", "write 1.000 ft or 1000 ft, whichever is meant"),
        ("1.2.3 ft", "m", "is not one single number"),
        ("10 ft", "ohm", "'10 ft' cannot be read"),
        ("6' 3", "m", "is not one single number"),
        ("3m3", "ohm", "did you mean 3M3?"),
        ("1" * 41, "ohm", "longer than 40 characters"),
        ("1" * 30 + " " * 12 + "ft", "m", "longer than 40 characters"),
        ("", "F", "is empty"),
    ],
)
def test_refusals_show_what_was_typed_and_the_cure(text, unit, says):
    with pytest.raises(QuantityError) as refused:
        parse_field(text, unit, what="the field")
    message = str(refused.value)
    assert message.startswith("the field: ") and says in message


def test_what_is_not_text_is_refused():
    with pytest.raises(QuantityError, match="int is not text"):
        parse_field(203, "F")


def is_marking(text: str, unit: str) -> bool:
    bare = text.strip()
    return unit == "F" and len(bare) == 3 and bare.isdigit()


@given(near | numbers | st.text(max_size=12), units)
@example("10M", "ohm")
@example("-0", "V")
@example("1e3", "F")
def test_a_field_takes_whatever_the_strict_reader_takes_with_the_same_value(text, unit):
    try:
        value = parse(text, unit)
    except QuantityError:
        assume(False)
    if is_marking(text, unit) and text.strip()[0] != "0":
        with pytest.raises(QuantityError, match="did you mean"):
            parse_field(text, unit)
    else:
        read = parse_field(text, unit)
        assert read == value and math.copysign(1, read) == math.copysign(1, value)


@given(near | st.text(max_size=50), units)
def test_any_text_is_read_or_refused_in_one_sentence(text, unit):
    try:
        assert math.isfinite(parse_field(text, unit))
    except QuantityError as refused:
        assert str(refused).startswith("value: ")


@given(numbers, st.sampled_from(sorted(PREFIXES)), units)
def test_a_prefix_in_words_means_its_letter(number, letter, unit):
    alias = UNITS[unit].aliases[0] if unit else ""
    spelled = f"{number} {PREFIX_NAMES[letter]}{alias}"
    assume(letter not in "fT")  # too small and too large for anything that a page asks for
    try:
        value = parse(f"{number} {letter}{alias}", unit)
    except QuantityError:
        with pytest.raises(QuantityError):
            parse_field(spelled, unit)
    else:
        assert parse_field(spelled, unit) == value


REGISTRY = pint.UnitRegistry()


@given(numbers)
def test_feet_are_what_a_table_of_units_makes_of_them(number):
    metres = REGISTRY.Quantity(float(number), "foot").m_as("metre")
    assert parse_field(f"{number} ft", "m") == pytest.approx(metres, rel=1e-14)


@given(st.integers(10, 99), st.integers(0, 7))
def test_a_marking_is_answered_with_the_value_that_bears_it(figures, noughts):
    code = f"{figures}{noughts}"
    with pytest.raises(QuantityError) as refused:
        parse_field(code, "F")
    meant = str(refused.value).partition("did you mean ")[2].rstrip("?")
    assert parse_field(meant, "F") == pytest.approx(figures * 10**noughts * 1e-12, rel=1e-12)
    assert three_digit_code(parse_field(meant, "F")) == code and show(from_three_digit_code(code), "F", 2) == meant
