"""Values as makers write them, printing, decibels, preferred numbers and part markings."""

import math
import subprocess
import sys

import numpy as np
import pint
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from piezolab import quantity as q
from piezolab.quantity import QuantityError, letter_code, parse, show
from piezolab.units import PREFIXES, UNITS

finite = st.floats(allow_nan=False, allow_infinity=False)
positive = st.floats(min_value=0, allow_infinity=False)
typical = st.builds(lambda m, e: float(f"{m}e{e}"), st.integers(1, 9999), st.integers(-18, 9))


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # letter codes
        ("3M3", "ohm", 3.3e6),
        ("1k5", "ohm", 1500.0),
        ("1K5", "ohm", 1500.0),
        ("560R", "ohm", 560.0),
        ("R47", "ohm", 0.47),
        ("0R22", "ohm", 0.22),
        ("4k", "ohm", 4000.0),
        ("0R", "ohm", 0.0),
        ("4n7", "F", 4.7e-9),
        ("10u", "F", 1e-5),
        ("2p2", "F", 2.2e-12),
        ("15n", "F", 1.5e-8),
        ("p47", "F", 0.47e-12),
        ("3m3", "F", 3.3e-3),
        ("1F5", "F", 1.5),
        ("3V3", "V", 3.3),
        ("4k7 Ω", "ohm", 4700.0),
        ("-3V3", "V", -3.3),
        # SI forms
        ("3.3 Mohm", "ohm", 3.3e6),
        ("3.3M", "ohm", 3.3e6),
        ("0.0047u", "F", 4.7e-9),
        ("100 pF/m", "F/m", 1e-10),
        ("10 uF", "F", 1e-5),
        ("10 uf", "F", 1e-5),
        ("2.2\u00b5F", "F", 2.2e-6),
        ("2.2\u03bcF", "F", 2.2e-6),
        ("220K", "ohm", 220e3),
        ("4,7k", "ohm", 4700.0),
        ("0,047u", "F", 4.7e-8),
        ("1 k\u03a9", "ohm", 1000.0),
        ("1 k\u2126", "ohm", 1000.0),
        ("1\u00a0k\u2126", "ohm", 1000.0),
        ("1 mV", "V", 0.001),
        ("30 cm", "m", 0.3),
        ("27mm", "m", 0.027),
        ("3 m", "m", 3.0),
        ("8 nV/√Hz", "V/rtHz", 8e-9),
        ("0.02 1/V", "1/V", 0.02),
        ("20m/V", "1/V", 0.02),
        ("−20 dB", "dB", -20.0),
        ("25 °C", "degC", 25.0),
        ("4.2 kHz", "Hz", 4200.0),
        ("500 mAh", "Ah", 0.5),
        ("2 %", "", 0.02),
        # plain numbers
        ("1.5e-8", "F", 1.5e-8),
        (" 82,4 ", "Hz", 82.4),
        ("0,025", "", 0.025),
        (".5", "V", 0.5),
        ("5.", "V", 5.0),
        ("-0", "V", 0.0),
    ],
)
def test_values_as_makers_write_them(text, unit, value):
    assert parse(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("3m3", "ohm", "did you mean 3M3?"),
        ("3m3 ohm", "ohm", "did you mean 3M3 ohm?"),
        ("5 m", "ohm", "did you mean 5 M?"),
        ("10M", "F", "did you mean 10m or 10u?"),
        ("10 MF", "F", "did you mean 10 mF or 10 uF?"),
        ("10UF", "F", "did you mean 10uF?"),
        ("10M", "V", "did you mean 10m or 10u?"),
        ("10u", "ohm", "microohms"),
        ("4k7", "F", "kilofarads"),
        ("1f5", "F", "femtofarads"),
        ("10 nF", "ohm", "is in farads, but ohms are expected"),
        ("3R3", "F", "is in ohms, but farads are expected"),
        ("3V3", "ohm", "is in volts"),
        ("1 ms", "S", "is in seconds, but siemens are expected"),
        ("100 pF", "F/m", "is in farads, but farads per metre are expected"),
        ("10 ohm", "", "is in ohms, but a plain number is expected"),
        ("20m", "degC", "degrees Celsius take none"),
        ("3m3", "m", "metres or millimetres"),
        ("nan", "ohm", "not a finite number"),
        ("-Infinity", "ohm", "not a finite number"),
        ("∞", "ohm", "not a finite number"),
        ("", "ohm", "is empty"),
        (" \t", "ohm", "is empty"),
        ("1" * 41, "ohm", "longer than 40 characters"),
        ("<b>3M3</b>", "ohm", "is not one single number"),
        ("<script>", "ohm", "cannot be read"),
        ("1k 2k", "ohm", "is not one single number"),
        ("4.7k7", "ohm", "is not one single number"),
        ("1/2", "ohm", "is not one single number"),
        ("1_000", "ohm", "is not one single number"),
        ("1,000", "ohm", "write 1.000 or 1000, whichever is meant"),
        ("1,000 k", "ohm", "write 1.000 k or 1000 k, whichever is meant"),
        ("1,000,000", "ohm", "may mean thousands"),
        ("1.000.000", "ohm", "may mean thousands"),
        ("1 000", "ohm", "may mean thousands"),
        ("1,234.5", "ohm", "may mean thousands"),
        ("10²", "ohm", "cannot be read"),
        ("٣", "ohm", "cannot be read"),
        ("3d5B", "dB", "cannot be read"),
        ("3f3arad", "F", "cannot be read"),
        ("4H7z", "Hz", "cannot be read"),
        ("1e999", "ohm", "too large"),
        ("1e-999", "F", "too small"),
        ("5e", "ohm", "cannot be read"),
        ("k", "ohm", "cannot be read"),
    ],
)
def test_refusals_name_field_value_and_cure(text, unit, says):
    with pytest.raises(QuantityError) as refused:
        parse(text, unit, what="gate resistor")
    message = str(refused.value)
    assert message.startswith("gate resistor: ")
    assert says in message
    assert message.isprintable() and message[-1] in ".?"
    if len(text) <= q.MAX_TEXT:
        assert repr(text) in message


def test_what_is_not_text_or_not_a_unit_is_refused():
    with pytest.raises(QuantityError, match="int is not text"):
        parse(3, "ohm")
    with pytest.raises(QuantityError, match="unit: 'furlong' is not known"):
        parse("3", "furlong")


pieces = st.lists(
    st.sampled_from(
        [*"0123456789.,+- eEkKMmunpfRFVΩµ%/<>&'\n\x00\ud800", "ohm", "Hz", "1e", "nan", "inf", "°C", "√"]
    ),
    max_size=14,
).map("".join)


@given(st.one_of(st.text(), pieces), st.sampled_from(sorted(UNITS)))
@example("1e9999", "ohm")
@example("0" * 38 + "1k", "ohm")
def test_any_text_gives_a_finite_float_or_one_sentence(text, unit):
    try:
        value = parse(text, unit, what="x")
    except QuantityError as refused:
        message = str(refused)
        assert message.startswith("x: ") and "\n" not in message
        message.encode()  # no lone surrogate gets through to a page
    else:
        assert type(value) is float and math.isfinite(value)
        assert any(c in "0123456789" for c in text)


@given(typical, st.sampled_from("pnum"))
def test_a_prefix_costs_no_accuracy(value, prefix):
    text = repr(value)
    assume("e" not in text)
    assert parse(f"{text}{prefix}", "F") == float(f"{text}e{PREFIXES[prefix]}")


@given(st.one_of(positive, typical), st.sampled_from(sorted(UNITS)))
def test_letter_code_reads_back_exactly(value, unit):
    assert parse(letter_code(value, unit), unit) == value


@given(finite, st.sampled_from(["V", "degC", "dB", ""]))
def test_negative_letter_code_reads_back_exactly(value, unit):
    assert parse(letter_code(value, unit), unit) == value


@given(typical, st.sampled_from(sorted(UNITS)))
def test_letter_code_is_never_much_longer_than_the_number(value, unit):
    assert len(letter_code(value, unit)) <= len(repr(value)) + 1
    assert letter_code(value, unit).isascii()


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (3.3e6, "ohm", "3M3"),
        (560, "ohm", "560R"),
        (0.47, "ohm", "R47"),
        (1e5, "ohm", "100k"),
        (1e9, "ohm", "1G"),
        (0, "ohm", "0"),
        (1.5e-8, "F", "15n"),
        (2.2e-6, "F", "2u2"),
        (1e-10, "F/m", "100p"),
        (0.3, "m", "0.3"),
        (0.02, "m", "0.02"),
        (0.01, "V", "10m"),
        (9, "V", "9"),
        (-3.3, "V", "-3.3"),
        (4200, "Hz", "4k2"),
        (82.4, "Hz", "82.4"),
        (0.02, "", "0.02"),
        (1e-5, "", "1e-5"),
        (25, "degC", "25"),
        (1e22, "ohm", "1e22"),
    ],
)
def test_letter_code_is_what_a_maker_would_write(value, unit, text):
    assert letter_code(value, unit) == text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_letter_code_without_a_number(value):
    with pytest.raises(QuantityError, match="must be finite"):
        letter_code(value, "ohm")


# pint is a general units library with a parser of its own; its floats may differ in the last digit.
_PINT_UNITS = {
    "ohm": "ohm",
    "F": "farad",
    "V": "volt",
    "A": "ampere",
    "Hz": "hertz",
    "F/m": "farad/metre",
    "W": "watt",
}


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


@given(
    mantissa=st.decimals(0, 999, places=3),
    unit=st.sampled_from(sorted(_PINT_UNITS)),
    prefix=st.sampled_from(["", "p", "n", "u", "µ", "m", "k", "M", "G"]),
    gap=st.sampled_from(["", " "]),
)
def test_si_forms_agree_with_pint(registry, mantissa, unit, prefix, gap):
    assume(not prefix or prefix.replace("µ", "u") in UNITS[unit].prefixes)
    text = f"{mantissa}{gap}{prefix}{unit}"
    expected = registry.Quantity(text).to(_PINT_UNITS[unit]).magnitude
    assert parse(text, unit) == pytest.approx(expected, rel=1e-14, abs=0)


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [
        (3.3e6, "ohm", 3, "3.30 MΩ"),
        (1.5e-8, "F", 3, "15.0 nF"),
        (999.6, "", 3, "1.00 k"),
        (999.4, "", 3, "999"),
        (0.02, "", 3, "0.0200"),
        (999.6e-6, "A", 3, "1.00 mA"),
        (2.2e-6, "F", 2, "2.2 µF"),
        (473, "ohm", 2, "470 Ω"),
        (8e-9, "V/rtHz", 2, "8.0 nV/√Hz"),
        (-2.6, "V", 3, "−2.60 V"),
        (-9, "dB", 3, "−9.0 dB"),
        (-0.04, "dB", 3, "0.0 dB"),
        (123.45, "dB", 2, "123.5 dB"),
        (25, "degC", 3, "25 °C"),
        (-7.5, "degC", 3, "−7.5 °C"),
        (0.3, "m", 3, "300 mm"),
        (613.4, "h", 3, "613 h"),
        (0.02, "1/V", 2, "0.020 /V"),
        (0, "ohm", 3, "0 Ω"),
        (1e-30, "F", 3, "1.00×10⁻³⁰ F"),
        (math.inf, "Hz", 3, "∞ Hz"),
        (-math.inf, "dB", 3, "−∞ dB"),
        (math.nan, "Hz", 3, "— Hz"),
    ],
)
def test_shown_for_people(value, unit, digits, text):
    assert show(value, unit, digits) == text


@given(
    finite.filter(lambda v: v == 0 or abs(v) > 1e-300),
    st.sampled_from(["ohm", "F", "V", "A", "Hz", "F/m", "S"]),
)
def test_shown_value_is_right_to_its_digits(value, unit):
    text = show(value, unit, 6)
    if "×" not in text:
        assert (
            parse(text, unit) == pytest.approx(value, rel=0.6e-5) if abs(value) > 0 else text.startswith("0 ")
        )
        assert sum(c.isdigit() for c in text.lstrip("−0.")) <= 6


def test_one_digit_is_the_least():
    with pytest.raises(QuantityError, match="at least 1"):
        show(1.0, "V", 0)


@given(st.floats(1e-12, 1e12))
def test_decibels_there_and_back(ratio):
    assert q.from_decibels(q.decibels(ratio)) == pytest.approx(ratio, rel=1e-12)
    assert q.decibels(-1j * ratio) == q.decibels(ratio)
    assert q.decibels(ratio) == pytest.approx(2 * 10 * math.log10(ratio), abs=1e-9)


def test_decibels_take_arrays_and_nothing_at_all():
    levels = q.decibels(np.array([[1.0, 10.0], [0.0, 2.0]]))
    np.testing.assert_allclose(levels, [[0, 20], [-np.inf, 6.0206]], atol=1e-4)
    np.testing.assert_allclose(q.from_decibels([0, 20]), [1, 10])
    assert type(q.decibels(10)) is float and type(q.from_decibels(20)) is float


def test_reference_levels():
    # 0 dBu puts 1 mW into 600 ohms; +4 dBu is 1.228 V, 0 dBV is 2.218 dBu (common practice, no source).
    assert q.dbu(math.sqrt(1e-3 * 600)) == pytest.approx(0, abs=1e-12)
    assert q.dbu(1.228) == pytest.approx(4, abs=0.004)  # the printed 1.228 is rounded
    assert q.dbu(1.0) == pytest.approx(2.218, abs=0.001)
    assert q.dbv(0.1) == pytest.approx(-20)
    assert q.dbu(np.ones((2, 3))).shape == (2, 3)


@given(typical, st.sampled_from(q.SERIES_NAMES))
def test_nearest_preferred_is_the_nearest_of_all(value, name):
    decade = math.floor(math.log10(value))
    every = [float(f"{m}e{d}") for d in range(decade - 1, decade + 2) for m in q.series(name)]
    chosen = q.nearest_preferred(value, name)
    assert chosen in every
    assert abs(math.log(chosen / value)) <= min(abs(math.log(e / value)) for e in every) + 1e-12
    assert q.nearest_preferred(chosen, name) == chosen


def test_nearest_preferred_keeps_the_shape():
    values = np.array([[4500.0, 9.9e-9], [1e6, 1.45]])
    np.testing.assert_array_equal(q.nearest_preferred(values, "E12"), [[4700.0, 1e-8], [1e6, 1.5]])
    assert q.nearest_preferred(np.array([])).shape == (0,)


@given(typical, st.floats(1, 1e3), st.sampled_from(q.SERIES_NAMES))
def test_preferred_between_has_every_value_in_range(low, factor, name):
    high = low * factor
    found = q.preferred_between(low, high, name)
    assert list(found) == sorted(set(found))
    assert all(low <= v <= high and q.nearest_preferred(v, name) == v for v in found)
    size = int(name[1:])
    assert abs(len(found) - size * math.log10(factor)) <= 2


def test_preferred_between_includes_its_ends():
    assert q.preferred_between(1000, 10000, "E6") == (1000, 1500, 2200, 3300, 4700, 6800, 10000)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, [1.0, 0.0]])
def test_nothing_is_nearest_to_no_value(value):
    with pytest.raises(QuantityError, match="above 0 and finite"):
        q.nearest_preferred(value)


def test_series_and_ranges_that_do_not_exist():
    with pytest.raises(QuantityError, match="'E7' is not known; use one of E3"):
        q.series("E7")
    for low, high in [(0, 1), (2, 1), (1, math.inf), (math.nan, 1)]:
        with pytest.raises(QuantityError, match="not a range"):
            q.preferred_between(low, high)


tolerances = st.sampled_from([0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1, 2, 5, 10])


@given(st.integers(10, 99), st.integers(-3, 9), tolerances)
def test_two_figure_bands_there_and_back(figures, power, tolerance):
    value = float(f"{figures}e{power}")
    bands = q.colour_bands(value, tolerance)
    assert len(bands) == 4
    assert q.from_colour_bands([b.upper() for b in bands]) == (value, tolerance)
    assert q.from_colour_bands(q.colour_bands(value, 20)) == (value, 20)


@given(st.integers(100, 999), st.integers(-3, 9), tolerances)
def test_three_figure_bands_there_and_back(figures, power, tolerance):
    value = float(f"{figures}e{power}")
    bands = q.colour_bands(value, tolerance, digits=3)
    assert len(bands) == 5
    assert q.from_colour_bands(bands) == (value, tolerance)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((4750.0, 1, 2), "more figures than 2"),
        ((0.0, 1, 2), "reach from 0.01 to"),
        ((-1.0, 1, 2), "reach from"),
        ((math.nan, 1, 2), "reach from"),
        ((1e12, 1, 3), "reach from 0.1 to"),
        ((4700.0, 3, 2), "tolerance: 3 % has no colour"),
        ((4700.0, 20, 3), "tolerance: 20 % has no colour"),
        ((4700.0, 5, 4), "2 or 3 figure bands"),
    ],
)
def test_values_that_bands_cannot_show(arguments, says):
    with pytest.raises(QuantityError, match=says):
        q.colour_bands(*arguments)


@pytest.mark.parametrize(
    ("bands", "says"),
    [
        (["brown", "black"], "there are 2, but 3 to 5"),
        (["brown"] * 6, "leave out a sixth"),
        (["gold", "red", "violet", "yellow"], "begins with gold; read them from the other end"),
        (["black", "red", "violet"], "begins with black"),
        (["red", "gold", "brown", "gold"], "'gold' has no meaning as band 2"),
        (["red", "red", "beige", "gold"], "'beige' has no meaning as band 3"),
        (["red", "red", "red", "white"], "'white' has no meaning as band 4"),
    ],
)
def test_bands_that_mean_nothing(bands, says):
    with pytest.raises(QuantityError, match=says):
        q.from_colour_bands(bands)


@given(st.integers(10, 99), st.integers(0, 9))
def test_three_digit_code_there_and_back(figures, last):
    code = f"{figures}{last}"
    assert q.three_digit_code(q.from_three_digit_code(code)) == code


@pytest.mark.parametrize("farad", [0.0, -1e-9, 1e-3, 1e-14, math.nan, math.inf, 1.55e-9])
def test_capacitances_without_a_code(farad):
    with pytest.raises(QuantityError, match="^capacitance: "):
        q.three_digit_code(farad)


@pytest.mark.parametrize("code", ["", "15", "1534", "053", "4n7", "153X", "15³", "<b>"])
def test_codes_without_a_capacitance(code):
    with pytest.raises(QuantityError):
        q.from_three_digit_code(code)


@given(st.sampled_from("ELPWBCDFGJKMN"))
def test_tolerance_letters_there_and_back(letter):
    low, high = q.tolerance_from_letter(letter)
    assert low == -high
    assert q.tolerance_letter(high) == letter


def test_tolerances_without_a_letter():
    with pytest.raises(QuantityError, match="7 % has no letter"):
        q.tolerance_letter(7)


def test_reading_values_loads_nothing_heavy():
    code = (
        "import sys, piezolab.quantity, piezolab.pitch; "
        "print(*{m.split('.')[0] for m in sys.modules} & {'numpy', 'scipy', 'plotly', 'ipywidgets'})"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
