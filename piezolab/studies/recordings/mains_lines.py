"""Hum lines in a stretch of quiet, and which mains they belong to.

The stretch is brought down to 3 kHz by a filter whose gain at each line is put back, weighted with half a sine (its
noise bandwidth is 1.23 bins) and looked at on every multiple of a mains frequency that may be off by 0.25 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE
from piezolab.giving_way import give_way
from piezolab.studies.recordings import Estimate

MAINS_HZ = (50.0, 60.0)
MULTIPLES = np.arange(1, 21)
OFF_HZ, _GRID_HZ = 0.25, 0.005
SURE = 0.85  # probability from which the mains is named
_DOWN, _TAPS = 16, 192
_RATE = RATE / _DOWN
#: Before anything is heard, all assumptions: how far above its noise a line may stand; how likely a multiple hums (the
#: lowest three, other odd ones, other even ones); how likely something else stands on it, from the fourth multiple on,
#: where a partial of some string always does, so that one such line proves little; how likely the mains is off by
#: hundredths of a hertz only, as mostly.
_ABOVE = np.array([5.0, 15.0, 100.0])
_LOWEST, _ODD, _EVEN = 0.4, 0.15, 0.08
_ELSE = 1e-2
_CLOSE, _CLOSE_HZ = 0.5, 0.03
_BEFORE = {50.0: 1 / 3, 60.0: 1 / 3}  # else there is no hum that could be told
#: A line well above its noise that fades by more from one half of the stretch to the other, or that is the flank of one
#: so much stronger beside, rings and does not hum.
_WELL_ABOVE, _FADES, _FLANK = 12.0, 10.0, 4.0
_CHUNK = 4096


@dataclass(frozen=True)
class MainsLines:
    """Hum of a stretch.

    mains_hz: 50 or 60, nan where it cannot be told; found_hz: the mains as it is, nan likewise; hz: frequencies of the
    lines, shape (L,); level: mean square of each, of full scale squared, noise taken off, so 0 and less for what is not
    there, shape (L,); noise: mean square of the noise that such a line is measured with, shape (L,); width_hz: the
    bandwidth of that noise; total: all lines together, mean square.
    """

    mains_hz: float
    found_hz: float
    hz: np.ndarray
    level: np.ndarray
    noise: np.ndarray
    width_hz: float
    total: Estimate

    @property
    def per_tenth_hz(self) -> np.ndarray:
        """The noise beside each line within 0.1 Hz, mean square, shape (L,)."""
        return self.noise * 0.1 / self.width_hz

    def intervals(self) -> np.ndarray:
        """Ends of the 95 % interval of each line's mean square, shape (2, L); the lower is 0 where it may be none.

        A line's power in Gaussian noise is non-central chi-squared with two degrees of freedom (Rice 1945, Bell Syst.
        Tech. J. 24, from memory); its ends are those non-centralities for which what was found lies at 2.5 and 97.5 %.
        """
        from scipy.special import chndtr, chndtrinc

        found = 2 * np.maximum(self.level + self.noise, 0) / self.noise
        out = np.zeros((2, len(found)))
        for row, share in zip(out, (0.975, 0.025), strict=True):
            may = chndtr(found, 2, 0.0) > share
            row[may] = chndtrinc(found[may], 2, share)
        return out * self.noise / 2


def mains_lines(samples: np.ndarray) -> MainsLines:
    """The lines of a stretch of quiet, shape (N,), at `RATE`; at least a second of it."""
    low = _brought_down(samples)
    n = len(low)
    weight = np.sin(np.pi * (np.arange(n) + 0.5) / n)
    length = 1 << (8 * n - 1).bit_length()
    # mean square of a line on a bin: a sine of amplitude a has (a sum(w)/2)^2, and a^2/2 is wanted
    power = _power(low, weight, length)
    halves = [_power(part, np.sin(np.pi * (np.arange(n // 2) + 0.5) / (n // 2)), length) for part in _halves(low)]
    give_way()
    step = _RATE / length
    best, evidence = {}, {}
    for mains in MAINS_HZ:
        best[mains], evidence[mains] = _evidence(power, halves, step, n, mains)
    share = {mains: np.log(_BEFORE[mains]) + evidence[mains] for mains in MAINS_HZ}
    whole = np.logaddexp.reduce([*share.values(), np.log(1 - sum(_BEFORE.values()))])
    likely = max(MAINS_HZ, key=share.__getitem__)
    sure = share[likely] > np.log(SURE) + whole
    base = best[likely]
    hz = base * MULTIPLES
    noise = _beside(power, step, n, hz, base)
    taps = _taps()
    gain = np.abs(np.exp(-2j * np.pi * np.outer(hz, np.arange(len(taps))) / RATE) @ taps) ** 2
    found = power[np.rint(hz / step).astype(int)]
    level, noise = (found - noise) / gain, noise / gain
    total, spread = float(level.sum()), 1.96 * float(np.sqrt(np.sum(noise**2 + 2 * noise * np.maximum(level, 0))))
    width = _RATE * float((weight**2).sum() / weight.sum() ** 2)
    return MainsLines(
        likely if sure else np.nan, base if sure else np.nan, hz, level, noise, width,
        Estimate(total, total - spread, total + spread),
    )  # fmt: skip


def _halves(low: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    half = len(low) // 2
    return low[:half], low[half : 2 * half]


def _power(low: np.ndarray, weight: np.ndarray, length: int) -> np.ndarray:
    """Mean square of a line on each bin: a sine of amplitude a has (a sum(w)/2)^2, and a^2/2 is wanted."""
    return np.abs(np.fft.rfft(low * weight, length)) ** 2 * 2 / weight.sum() ** 2


def _evidence(
    power: np.ndarray, halves: list[np.ndarray], step: float, n: int, mains: float
) -> tuple[float, float]:
    """The likeliest frequency of a mains, and the logarithm of how much likelier what is found is with its hum than
    without.

    A line's power is exponentially distributed about the noise alone, or about the noise and a line; which multiples
    hum is not known, so each counts for itself. Multiples of 300 Hz belong to both mains and say nothing.
    """
    off = np.arange(-OFF_HZ, OFF_HZ + _GRID_HZ / 2, _GRID_HZ)
    bases = mains + off
    orders = MULTIPLES[(MULTIPLES * mains) % 300 != 0]
    noise = _beside(power, step, n, mains * orders, mains)
    at = np.rint(np.outer(bases, orders) / step).astype(int)
    x = power[at] / noise
    first, second = (half[at] for half in halves)
    fades = np.maximum(first, second) > _FADES * np.minimum(first, second)
    rings = (x > _WELL_ABOVE) & (fades | (_flank(power, at, step, n) > _FLANK * power[at]))
    low = orders <= 3
    rings |= (rings & low).any(axis=1, keepdims=True)  # a string that low may have every other line, too
    hums = np.where(low, _LOWEST, np.where(orders % 2 == 1, _ODD, _EVEN))
    line = np.logaddexp.reduce(
        [x * above / (1 + above) - np.log1p(above) - np.log(len(_ABOVE)) for above in _ABOVE], axis=0
    )
    without = np.where(low, 0.0, np.logaddexp(np.log1p(-_ELSE), np.log(_ELSE) + line))
    each = np.logaddexp(np.log1p(-hums) + without, np.log(hums) + line) - without
    close = np.exp(-0.5 * (off / _CLOSE_HZ) ** 2)
    weight = _CLOSE * close / close.sum() + (1 - _CLOSE) / len(off)
    logs = np.where(rings, 0.0, each).sum(axis=1) + np.log(weight)
    return float(bases[np.argmax(logs)]), float(np.logaddexp.reduce(logs))


def _flank(power: np.ndarray, at: np.ndarray, step: float, n: int) -> np.ndarray:
    """The largest power in the four line widths beyond what a multiple may be off, of the shape of `at`."""
    reach = round(4 * _RATE / n / step)
    out = np.empty(at.shape)
    for k, (first, last) in enumerate(zip(at[0], at[-1], strict=True)):
        beyond = np.r_[power[max(first - reach, 0) : first], power[last + 1 : last + 1 + reach]]
        out[:, k] = beyond.max()
    return out


def _beside(power: np.ndarray, step: float, n: int, hz: np.ndarray, base: float) -> np.ndarray:
    """Noise at some frequencies: from the median of what lies within 8 Hz, all multiples of the base and what their
    window spreads left out. The median of an exponential is ln 2 of its mean."""
    clear = max(3 * _RATE / n, 1.5 * OFF_HZ)
    every = max(round(_RATE / n / step), 1)
    out = np.empty(len(hz))
    for k, at in enumerate(hz):
        bins = np.arange(round(max(at - 8, 4) / step), round((at + 8) / step), every)
        off = np.abs(bins * step - base * np.rint(bins * step / base))
        out[k] = np.median(power[bins[off > clear]]) / np.log(2)
    return np.maximum(out, 1e-24)


def _taps() -> np.ndarray:
    """A low-pass at 1.25 kHz."""
    at = np.arange(_TAPS) - (_TAPS - 1) / 2
    taps = np.sinc(2 * 1250.0 / RATE * at) * np.kaiser(_TAPS, 8.0)
    return taps / taps.sum()


def _brought_down(samples: np.ndarray) -> np.ndarray:
    taps, out = _taps(), []
    for start in range(0, len(samples) - _TAPS + 1, _CHUNK * _DOWN):
        part = np.asarray(samples[start : start + (_CHUNK - 1) * _DOWN + _TAPS], float)
        out.append(np.lib.stride_tricks.sliding_window_view(part, _TAPS)[::_DOWN] @ taps)
        give_way()
    return np.concatenate(out)
