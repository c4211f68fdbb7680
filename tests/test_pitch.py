"""Note names, tunings and nearest notes."""

import math

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab import pitch
from piezolab.pitch import PitchError, format_tuning, frequency, nearest_note, note, parse_tuning

letters = st.sampled_from("ABCDEFG")


@st.composite
def note_names(draw):
    """Canonical names of notes from A0 to C8, in any spelling."""
    name = draw(letters) + draw(st.sampled_from(["", "s", "f"])) + str(draw(st.integers(1, 7)))
    edges = ["A0", "As0", "Bf0", "B0", "Bs0", "Cf1", "C8", "Cf8", "Bs7"]
    return draw(st.sampled_from([name, *edges]))


@given(note_names())
def test_frequency_agrees_with_high_precision_arithmetic(name):
    # Second route: count semitones along a written-out keyboard, and take the root with 40 digits.
    keyboard = "C C D D E F F G G A A B".split()
    step = keyboard.index(name[0]) + {"s": 1, "f": -1}.get(name[1], 0) + 12 * int(name[-1])
    with mpmath.workdps(40):
        expected = 440 * mpmath.root(2, 12) ** (step - (9 + 12 * 4))
    assert frequency(name) == pytest.approx(float(expected), rel=1e-14)


@given(note_names())
def test_every_spelling_of_an_accidental_is_read(name):
    found = note(name)
    assert found.name == name
    for sharp, flat in ("#b", "♯♭", "sf"):
        letter, middle, octave = name[0], name[1:-1], name[-1]
        other = letter + {"s": sharp, "f": flat, "": ""}[middle] + octave
        assert note(other) == found
        assert note(other[0].lower() + other[1:]) == found
    assert note(found.display) == found


@pytest.mark.parametrize(
    ("text", "same_pitch"),
    [
        ("Cf4", "B3"),
        ("Bs3", "C4"),
        ("Es3", "F3"),
        ("Ff3", "E3"),
        ("Fs3", "Gf3"),
        ("Cf8", "B7"),
        ("Bs7", "C8"),
        ("bb3", "As3"),
    ],
)
def test_the_octave_belongs_to_the_letter(text, same_pitch):
    assert note(text).midi == note(same_pitch).midi
    assert frequency(text) == frequency(same_pitch)
    assert note(text).name != note(same_pitch).name


def test_a_note_knows_its_names():
    assert note("F#3") == pitch.Note("Fs3", 54, frequency("Fs3"), "F♯3")
    assert note("Bf3").display == "B♭3"
    assert note("A4").midi == 69


@given(st.lists(note_names(), min_size=1, max_size=12))
def test_tuning_round_trip_keeps_order_and_spelling(names):
    text = "-".join(names)
    notes = parse_tuning(text)
    assert format_tuning(notes) == text
    assert parse_tuning(", ".join(n.display for n in notes)) == notes
    assert parse_tuning("  ".join(names)) == notes


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("H3", "'H3' is not a note"),
        ("D3--A3", "'' is not a note"),
        ("D3-", "'' is not a note"),
        ("D33", "'D33' is not a note"),
        ("Dss3", "is not a note"),
        ("D", "is not a note"),
        ("D٣", "is not a note"),
        ("<b>D3</b>", "is not a note"),
        ("", "is empty"),
        ("  ", "is empty"),
        ("Af0", "A♭0 is out of range"),
        ("Cf0", "C♭0 is out of range"),
        ("Cs8", "C♯8 is out of range"),
        ("D3-B9", "B9 is out of range"),
        ("-".join(["D3"] * 13), "there are 13 notes; 1 to 12"),
        ("D" * 500, "too long"),
    ],
)
def test_refusals_name_the_field_and_the_range(text, says):
    with pytest.raises(PitchError) as refused:
        parse_tuning(text, what="strings")
    message = str(refused.value)
    assert message.startswith("strings: ") and says in message and message.endswith(".")
    assert "1 to 12" in message or "A0 to C8" in message


def test_what_is_not_text_is_refused():
    with pytest.raises(PitchError, match="float is not a note"):
        note(440.0)
    with pytest.raises(PitchError):
        parse_tuning(None)


@given(st.one_of(st.text(), st.text("ABCDEFGHsfb#♯♭0123456789- ,;<>", max_size=40)))
def test_any_text_is_a_tuning_or_one_sentence(text):
    try:
        notes = parse_tuning(text)
    except PitchError as refused:
        assert "\n" not in str(refused)
        str(refused).encode()
    else:
        assert 1 <= len(notes) <= 12
        assert parse_tuning(format_tuning(notes)) == notes
        assert all(27.4 < n.frequency_hz < 4187 for n in notes)


@given(st.floats(16, 32000))
def test_nearest_note_is_within_half_a_semitone(hz):
    found, cents = nearest_note(hz)
    assert -50.0001 <= cents <= 50.0001
    assert found.frequency_hz * 2 ** (cents / 1200) == pytest.approx(hz, rel=1e-12)


@given(note_names())
def test_nearest_note_of_a_note_is_itself(name):
    found, cents = nearest_note(frequency(name))
    assert found.midi == note(name).midi
    assert cents == pytest.approx(0, abs=1e-9)
    assert found.name == f"{found.name[0]}{'s' if 's' in found.name else ''}{found.name[-1]}"


@pytest.mark.parametrize("hz", [0.0, -440.0, math.nan, math.inf, 10.0, 40000.0])
def test_no_note_outside_hearing(hz):
    with pytest.raises(PitchError, match="has no note"):
        nearest_note(hz)
