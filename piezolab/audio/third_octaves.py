"""Third-octave bands: frequencies and edges of IEC 61260-1, and the power of a spectrum's bins between two edges.

The bands are cut straight out of a spectrum. They have the standard's edges and not its filters' skirts, so they belong
to no class of it: a strong tone just outside a band does not leak into it here as it may in a filter.
"""

from __future__ import annotations

import numpy as np

#: Octave ratio, and the reference frequency: IEC 61260-1:2014, 5.2 and 5.3 (from memory).
G, REFERENCE_HZ = 10**0.3, 1000.0
#: Numbers of the bands from 20 Hz to 20 kHz, counted from 1 kHz.
ORDERS = np.arange(-17, 14)
#: What the bands are called: IEC 61260-1:2014, annex E (from memory).
NOMINAL_HZ = (
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150,
    4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
)  # fmt: skip


def exact_hz(order: np.ndarray) -> np.ndarray:
    """Exact mid-band frequencies 1000 G^(x/3) in Hz of bands counted from 1 kHz, of their shape."""
    return REFERENCE_HZ * G ** (np.asarray(order) / 3)


def band_edges() -> np.ndarray:
    """Lower and upper edges of all bands, Hz, shape (2, 31): mid-band frequency times G^(-1/6) and G^(1/6)."""
    middle = exact_hz(ORDERS)
    return np.stack([middle * G ** (-1 / 6), middle * G ** (1 / 6)])


def band_shares(bin_hz: float, bins: int) -> np.ndarray:
    """Which part of each bin belongs to each band, shape (31, bins): a bin that an edge goes through is shared out.

    Bin n reaches from (n - 1/2) to (n + 1/2) bin_hz. Bands above the last bin have nothing.
    """
    low, high = band_edges()
    at = np.arange(bins) * bin_hz
    inside = np.minimum(high[:, None], at + bin_hz / 2) - np.maximum(low[:, None], at - bin_hz / 2)
    return np.clip(inside / bin_hz, 0.0, 1.0)


def band_of(frequency: np.ndarray) -> np.ndarray:
    """Place in `ORDERS` of the band that a frequency (Hz, above 0) lies in; below the first or beyond the last -1."""
    place = np.rint(3 * np.log(np.asarray(frequency, float) / REFERENCE_HZ) / np.log(G)).astype(int) - ORDERS[0]
    return np.where((place >= 0) & (place < len(ORDERS)), place, -1)
