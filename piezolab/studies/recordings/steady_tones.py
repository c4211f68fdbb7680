"""Tones in a stretch of quiet that no mains makes: fan, drone, whistle. What is a partial of one tells of no hum."""

from __future__ import annotations

import numpy as np

_LOWEST_HZ, _HIGHEST_HZ, _BLOCK_HZ = 40.0, 1300.0, 30.0
_ABOVE, _ALONE_HZ, _MOST = 15.0, 2.0, 12  # times its noise; the strongest around; so many of them
_PARTIALS = np.arange(1, 5)  # which of its tone's partials the lowest that is found may be
_NOTHING = 1e-24
_WIDTHS, _SHIFTED = 0.5, 0.1  # how truly its frequency is known, of a line's width, and what each partial adds to that


def tones(power: np.ndarray, step: float, width: float, mains: tuple[float, ...], off_hz: float) -> np.ndarray:
    """Frequencies in Hz of what stands out of the noise and is no multiple of a mains, strongest first, shape (T,).

    power: on bins `step` Hz apart, shape (M,), of a window whose skirts fall fast; width: a line's, Hz; off_hz: how far
    a mains may be off.
    """
    inside, noise = _inside(power, step)
    high = inside > _ABOVE * noise
    at = np.flatnonzero(high[1:-1] & (inside[1:-1] >= inside[:-2]) & (inside[1:-1] > inside[2:])) + 1
    hz = (round(_LOWEST_HZ / step) + at) * step
    for base in mains:
        order = np.rint(hz / base)
        own = np.abs(hz - base * order) <= off_hz * order + 3 * width
        hz, at = hz[~own], at[~own]
    reach = round(_ALONE_HZ / step)
    alone = [k for k, bin_ in enumerate(at) if inside[bin_] >= inside[max(bin_ - reach, 0) : bin_ + reach + 1].max()]
    strongest = sorted(alone, key=lambda k: -inside[at[k]])[:_MOST]
    return hz[strongest]


def stands_out(power: np.ndarray, step: float) -> float:
    """How many times the noise around it the strongest line has; as of `tones`."""
    inside, noise = _inside(power, step)
    return float((inside / noise).max())


def _inside(power: np.ndarray, step: float) -> tuple[np.ndarray, np.ndarray]:
    """What is looked at, and its noise by the medians of blocks, both of one shape."""
    inside = power[round(_LOWEST_HZ / step) : round(_HIGHEST_HZ / step)]
    block = round(_BLOCK_HZ / step)
    noise = np.array([np.median(inside[k : k + block]) for k in range(0, len(inside), block)]) / np.log(2)
    return inside, np.maximum(noise, _NOTHING)[np.arange(len(inside)) // block]


def is_partial(hz: np.ndarray, of: np.ndarray, width: float) -> np.ndarray:
    """Whether frequencies, of any shape, are partials of a tone of which one of the first four is among `of`, (T,)."""
    found = np.zeros(hz.shape, bool)
    for tone in of:
        for first in tone / _PARTIALS:
            order = np.rint(hz / first)
            found |= np.abs(hz - order * first) < (_WIDTHS + _SHIFTED * order * first / tone) * width
    return found
