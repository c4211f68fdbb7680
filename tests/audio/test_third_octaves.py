"""Third-octave bands by the standard's own numbers, and their powers by what went in."""

import numpy as np
import pytest

from piezolab.audio import RATE
from piezolab.audio.third_octaves import NOMINAL_HZ, ORDERS, band_edges, band_of, band_shares, exact_hz


def test_exact_frequencies_of_the_standard() -> None:
    """IEC 61260-1:2014, annex E: exact mid-band frequencies by the base-10 ratio, to five digits (from memory)."""
    known = {-16: 25.119, -10: 100.00, -9: 125.89, -7: 199.53, -3: 501.19, 0: 1000.0, 1: 1258.9, 3: 1995.3, 12: 15849.0}
    for order, hz in known.items():
        assert exact_hz(order) == pytest.approx(hz, rel=2.5e-5)


def test_names_are_near_their_frequencies_and_edges_meet() -> None:
    low, high = band_edges()
    np.testing.assert_allclose(high[:-1], low[1:], rtol=1e-12)
    np.testing.assert_allclose(NOMINAL_HZ, exact_hz(ORDERS), rtol=0.02)
    # a third of an octave above 1 kHz: edges 891.25 and 1122.0 Hz (annex E, from memory)
    assert (low[17], high[17]) == pytest.approx((891.25, 1122.0), rel=2e-5)


def test_every_bin_between_the_ends_is_shared_out_once() -> None:
    shares, bin_hz = band_shares(RATE / 16384, 8193), RATE / 16384
    at = np.arange(8193) * bin_hz
    np.testing.assert_allclose(shares.sum(axis=0)[(at > 25) & (at < 22_000)], 1.0, atol=1e-12)
    np.testing.assert_allclose(shares.sum(axis=1) * bin_hz, np.diff(band_edges(), axis=0)[0], rtol=1e-9)


def test_white_noise_rises_by_a_decibel_a_band_and_a_tone_lies_in_one() -> None:
    shares = band_shares(1.0, RATE // 2)
    np.testing.assert_allclose(10 * np.diff(np.log10(shares @ np.ones(RATE // 2))), 1.0, atol=1e-9)
    low, high = band_edges()
    assert list(band_of(exact_hz(ORDERS))) == list(range(31))
    assert band_of(low[5] * 1.0001) == 5 and band_of(high[5] * 0.9999) == 5 and band_of(high[5] * 1.0001) == 6
    assert band_of(17.0) == -1 and band_of(23e3) == -1
