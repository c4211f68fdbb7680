"""Pitches in equal temperament against published tables; A4 = 440 Hz is ISO 16:1975 (from memory)."""

import pytest

from piezolab.pitch import frequency, note

# "Physics of Music - Notes", B. H. Suits, Michigan Technological University, A4 = 440 Hz, octaves 0 to 5, as
# copied at http://auditoryneuroscience.com/topics/fundamental-frequencies-notes-western-music.
SUITS = {
    0: "16.35 17.32 18.35 19.45 20.60 21.83 23.12 24.50 25.96 27.50 29.14 30.87",
    1: "32.70 34.65 36.71 38.89 41.20 43.65 46.25 49.00 51.91 55.00 58.27 61.74",
    2: "65.41 69.30 73.42 77.78 82.41 87.31 92.50 98.00 103.83 110.00 116.54 123.47",
    3: "130.81 138.59 146.83 155.56 164.81 174.61 185.00 196.00 207.65 220.00 233.08 246.94",
    4: "261.63 277.18 293.66 311.13 329.63 349.23 369.99 392.00 415.30 440.00 466.16 493.88",
    5: "523.25 554.37 587.33 622.25 659.26 698.46 739.99 783.99 830.61 880.00 932.33 987.77",
}
SHARPS = "C Cs D Ds E F Fs G Gs A As B".split()
FLATS = "C Df D Ef E F Gf G Af A Bf B".split()


def test_reference_pitch():
    assert frequency("A4") == 440.0
    assert note("A4").midi == 69


@pytest.mark.parametrize("octave", SUITS)
def test_university_table(octave):
    for sharp, flat, printed in zip(SHARPS, FLATS, SUITS[octave].split(), strict=True):
        if octave == 0 and sharp not in ("A", "As", "B"):
            continue  # below A0, the lowest note a tuning may have
        assert frequency(f"{sharp}{octave}") == pytest.approx(float(printed), abs=0.00501)
        assert frequency(f"{flat}{octave}") == frequency(f"{sharp}{octave}")


# CRC Handbook of Chemistry and Physics, section 14, equal-tempered scale, table 1: C to F of octaves 2, 4, 6.
@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("C2", "65.406"),
        ("Cs2", "69.296"),
        ("D2", "73.416"),
        ("Ds2", "77.782"),
        ("E2", "82.407"),
        ("F2", "87.307"),
        ("C4", "261.63"),
        ("Cs4", "277.18"),
        ("D4", "293.66"),
        ("Ds4", "311.13"),
        ("E4", "329.63"),
        ("F4", "349.23"),
        ("C6", "1046.50"),
        ("Cs6", "1108.73"),
        ("D6", "1174.66"),
        ("Ds6", "1244.51"),
        ("E6", "1318.51"),
        ("F6", "1396.91"),
    ],
)
def test_handbook_table(name, printed):
    decimals = len(printed.split(".")[1])
    assert frequency(name) == pytest.approx(float(printed), abs=0.501 * 10**-decimals)


def test_the_piano_ends_where_the_handbook_says():
    # Same source: A0 is the lowest note of the piano, C8 the highest, C4 middle C.
    assert frequency("A0") == pytest.approx(27.5, rel=1e-15)
    assert frequency("C8") == pytest.approx(4186.01, abs=0.005)  # from memory
