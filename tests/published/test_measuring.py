"""Measuring with what is at hand, against rules of the textbooks."""

from __future__ import annotations

import math

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.in_hand.measure_pickup import pickup_by_recordings, playing_by_take
from piezolab.studies.in_hand.own_measurements import input_resistance


def test_three_decibels_at_the_corner() -> None:
    """A high-pass of C and R is 3 dB down at f = 1/(2 pi R C) and 1 dB down at about twice that frequency.

    P. Horowitz and W. Hill, The Art of Electronics, chapter 1 (RC high-pass); the numbers from memory.
    """
    chain = SignalChain(
        stage="direct", pickup_r=100e9, pickup_loss=0.0, lead_m=0.0, cable_m=0.0, input_r=1e9, input_c=0.0
    )
    farad, corner = 15e-9, 106.1  # 15 nF and 100 kilohm
    at_corner = pickup_by_recordings(chain, (100e3, -3.01), (100e6, 0.0), corner)
    assert at_corner.value == pytest.approx(farad, rel=0.01)
    assert at_corner.low < farad < at_corner.high
    octave_above = pickup_by_recordings(chain, (100e3, -0.97), (100e6, 0.0), 2 * corner)
    assert octave_above.value == pytest.approx(farad, rel=0.01)


def test_half_the_level_means_the_same_resistance() -> None:
    """Half-deflection method of the textbooks on electrical measurement: the resistor that halves the reading has the
    resistance looked for (common practice, from memory)."""
    for ohm in (47e3, 470e3, 1e6):
        assert input_resistance(ohm).value == pytest.approx(ohm, rel=1e-3)


def test_full_scale_is_a_sine_of_full_scale_peak() -> None:
    """AES17 counts dBFS from a sine whose peak is full scale, so -6.02 dBFS peaks at half of it (from memory)."""
    chain = SignalChain(
        stage="direct", pickup_r=100e9, pickup_loss=0.0, lead_m=0.0, cable_m=0.0, input_r=1e9, input_c=0.0
    )
    found = playing_by_take(chain, -6.0206, 4.0, 1000.0, staged=False)
    assert found.value == pytest.approx(2.0, rel=1e-3)
    assert found.low == pytest.approx(2.0 / 10 ** (1 / 20), rel=1e-3) and math.isfinite(found.high)
