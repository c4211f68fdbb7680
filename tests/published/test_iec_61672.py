"""Frequency weighting A against the table of IEC 61672-1.

Table 3 of IEC 61672-1:2013 (2002: table 2), from memory. The table names nominal frequencies, but its values belong to
the exact ones, 1000*10^(n/10) Hz (IEC 61260-1, base ten), and are rounded to a tenth of a decibel.
"""

import numpy as np
import pytest

from piezolab.circuit.weighting import A_POLES_HZ, a_weighting

# nominal frequency in Hz: n of the exact frequency, weighting A in dB
TABLE = {
    10: (-20, -70.4), 12.5: (-19, -63.4), 16: (-18, -56.7), 20: (-17, -50.5), 25: (-16, -44.7), 31.5: (-15, -39.4),
    40: (-14, -34.6), 50: (-13, -30.2), 63: (-12, -26.2), 80: (-11, -22.5), 100: (-10, -19.1), 125: (-9, -16.1),
    160: (-8, -13.4), 200: (-7, -10.9), 250: (-6, -8.6), 315: (-5, -6.6), 400: (-4, -4.8), 500: (-3, -3.2),
    630: (-2, -1.9), 800: (-1, -0.8), 1000: (0, 0.0), 1250: (1, 0.6), 1600: (2, 1.0), 2000: (3, 1.2), 2500: (4, 1.3),
    3150: (5, 1.2), 4000: (6, 1.0), 5000: (7, 0.5), 6300: (8, -0.1), 8000: (9, -1.1), 10000: (10, -2.5),
    12500: (11, -4.3), 16000: (12, -6.6), 20000: (13, -9.3),
}  # fmt: skip


@pytest.mark.parametrize("nominal", TABLE)
def test_table(nominal: float) -> None:
    n, expected = TABLE[nominal]
    exact = 1000 * 10 ** (n / 10)
    assert exact == pytest.approx(nominal, rel=0.02)
    assert abs(20 * np.log10(a_weighting(exact)) - expected) <= 0.05 + 1e-3


def test_nominal_frequencies_would_not_do() -> None:
    """At 12.5 Hz and at 16 Hz, say, the nominal frequency is off the table by more than its rounding."""
    wrong = [n for n, (_, expected) in TABLE.items() if abs(20 * np.log10(a_weighting(n)) - expected) > 0.051]
    assert {12.5, 16} <= set(wrong)


def test_pole_frequencies() -> None:
    """Annex E gives them, rounded, as 20.60, 107.7, 737.9 and 12194 Hz (from memory)."""
    assert [round(pole, digits) for pole, digits in zip(A_POLES_HZ, (2, 1, 1, 0), strict=True)] == [
        20.6,
        107.7,
        737.9,
        12194.0,
    ]


def test_normalisation() -> None:
    """The standard's A_1000 is -2.000 dB: what the unscaled curve has at 1 kHz."""
    f2 = 1e6
    f1, f_2, f3, f4 = (pole**2 for pole in A_POLES_HZ)
    unscaled = f4 * f2**2 / ((f2 + f1) * np.sqrt((f2 + f_2) * (f2 + f3)) * (f2 + f4))
    assert 20 * np.log10(unscaled) == pytest.approx(-2.000, abs=5e-4)
    assert a_weighting(1e3) == 1.0
