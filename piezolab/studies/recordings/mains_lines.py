"""Hum lines in a stretch of quiet, and which mains they belong to.

The stretch is brought down to 3 kHz by a filter whose gain at each line is put back, weighted with half a sine (its
noise bandwidth is 1.23 bins) and looked at on every multiple of a mains frequency that may be off by 0.25 Hz. Which
mains it is all multiples and all quiet stretches say together, weighted as evenly as may be: one frequency for all, and
not known which of them hum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE
from piezolab.giving_way import give_way
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.steady_tones import is_partial, stands_out, tones

MAINS_HZ = (50.0, 60.0)
MULTIPLES = np.arange(1, 21)
OFF_HZ, _GRID_HZ = 0.25, 0.005
SURE = 0.7  # probability from which the mains is named: with it noise alone is given one in under 1 %
_DOWN, _TAPS = 16, 192
_RATE = RATE / _DOWN
#: Before anything is heard, all assumptions: how far above its noise a line may stand; in which ways a mains hums, how
#: likely each is and, in it, that its first, its next, its further and all other multiples are there; how likely
#: something else stands on a multiple, from the fourth on, where a partial of some string always does, so that one such
#: line proves little; how likely the mains is off by hundredths of a hertz only.
_ABOVE = np.array([3.0, 9.0, 30.0, 150.0])
_ODD, _EVEN, _MIXED = 0.35, 0.3, 0.35  # a coil's or a wire's, a rectifier's, both
_FIRST, _NEXT, _FURTHER, _FAR, _OTHER = 0.95, 0.7, 0.4, 0.12, 0.02
_LOWEST, _LOW = 0.6, 0.3  # of both: of the lowest three, up to the seventh
_ELSE = 1e-2
_CLOSE, _CLOSE_HZ = 0.25, 0.03
_BEFORE = {50.0: 1 / 3, 60.0: 1 / 3}  # else there is no hum that could be told
#: A line well above its noise that fades from one half of the stretch to the other, by that much in power and so many
#: standard deviations, or what stands so far above the noise as a skirt of something so much stronger beside, rings and
#: does not hum.
_WELL_ABOVE, _FADES, _FADES_SIGMAS, _ABOVE_SKIRT, _SKIRT = 12.0, 10.0, 3.5, 5.0, 2.0
_SKIRTS = 300.0  # times the noise, from where a line's skirts under that weight matter, so that another is taken
_EDGE = 0.05  # of a stretch, at either end, over which it fades in and out where the mains is told
#: Noise beside a line: from how far, from how close by, from how many times the fit that counts, how often it is
#: fitted; from how many times its mean on a bin is no noise, and the mean of what noise is below that; least of all.
_BESIDE_HZ, _CLOSE_BY_HZ, _LOUDER, _ROUNDS, _OUT, _NOTHING = 30.0, 4.0, 1.6, 6, 6.0, 1e-24
_MEAN_BELOW_OUT = 1 - _OUT * np.exp(-_OUT) / (1 - np.exp(-_OUT))
_FAR_ABOVE, _BY_THE_TOP = 300.0, 2  # times the noise, bins: from where a top is read, how near its bin
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


def mains_lines(samples: np.ndarray, others: Sequence[np.ndarray] = ()) -> MainsLines:
    """The lines of a stretch of quiet, shape (N,), at `RATE`; at least a second of it. others: more such stretches of
    the same take, which say with it which mains it is."""
    low = _brought_down(samples)
    n = len(low)
    weight = np.sin(np.pi * (np.arange(n) + 0.5) / n)
    length = 1 << (8 * n - 1).bit_length()
    power = _power(low, weight, length)
    step = _RATE / length
    best, share = _likelihoods([low, *(_brought_down(other) for other in others)])
    whole = np.logaddexp.reduce([*share.values(), np.log(1 - sum(_BEFORE.values()))])
    likely = max(MAINS_HZ, key=share.__getitem__)
    sure = share[likely] > np.log(SURE) + whole
    base = best[likely]
    hz = base * MULTIPLES
    noise = _beside(power, step, n, hz, base)
    taps = _taps()
    gain = np.abs(np.exp(-2j * np.pi * np.outer(hz, np.arange(len(taps))) / RATE) @ taps) ** 2
    found = _heights(power, np.rint(hz / step).astype(int), noise)
    level, noise = (found - noise) / gain, noise / gain
    # levels of what does not hum are 0 on average: without those below 0 the scatter would come out too large
    squares = float(np.sum(noise**2))
    total, spread = float(level.sum()), 1.96 * max(squares + 2 * float(np.sum(noise * level)), squares) ** 0.5
    width = _RATE * float((weight**2).sum() / weight.sum() ** 2)
    return MainsLines(
        likely if sure else np.nan, base if sure else np.nan, hz, level, noise, width,
        Estimate(total, total - spread, total + spread),
    )  # fmt: skip


def _heights(power: np.ndarray, at: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """Power on some bins, shape (L,), of a line far above its noise at its top: through three bins, by logarithms."""
    around = at[:, None] + np.arange(-_BY_THE_TOP, _BY_THE_TOP + 1)
    top = np.take_along_axis(around, np.argmax(power[around], axis=1)[:, None], axis=1)[:, 0]
    left, here, right = (np.log(np.maximum(power[top + n], _NOTHING)) for n in (-1, 0, 1))
    curved = np.minimum(left - 2 * here + right, -1e-9)
    higher = np.minimum(-((left - right) ** 2) / (8 * curved), 1.0)  # between bins so close it is far less
    return np.where(power[at] > _FAR_ABOVE * noise, np.exp(here + higher), power[at])


def _halves(low: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    half = len(low) // 2
    return low[:half], low[half : 2 * half]


def _power(low: np.ndarray, weight: np.ndarray, length: int) -> np.ndarray:
    """Mean square of a line on each bin: a sine of amplitude a has (a sum(w)/2)^2, and a^2/2 is wanted."""
    return np.abs(np.fft.rfft(low * weight, length)) ** 2 * 2 / weight.sum() ** 2


def _even(n: int) -> np.ndarray:
    """A weight that is 1 but for its edges: a line is measured with little more noise than there must be."""
    weight, edge = np.ones(n), int(n * _EDGE)
    weight[:edge] = np.sin(0.5 * np.pi * (np.arange(edge) + 0.5) / edge) ** 2
    weight[n - edge :] = weight[:edge][::-1]
    return weight


def _likelihoods(stretches: Sequence[np.ndarray]) -> tuple[dict[float, float], dict[float, float]]:
    """Of each mains: its likeliest frequency, and the logarithm of how likely it is, against no hum at all."""
    off = np.arange(-OFF_HZ, OFF_HZ + _GRID_HZ / 2, _GRID_HZ)
    close = np.exp(-0.5 * (off / _CLOSE_HZ) ** 2)
    before = np.log(_CLOSE * close / close.sum() + (1 - _CLOSE) / len(off))
    spectra = [_Looked(low) for low in stretches]
    best, share = {}, {}
    for mains in MAINS_HZ:
        orders = MULTIPLES[(MULTIPLES * mains) % 300 != 0]  # those belong to both and say nothing
        lines = sum(each.lines(mains + off, orders, mains) for each in spectra)
        logs = _hums(lines, orders) + before
        best[mains] = float(mains + off[np.argmax(logs)])
        share[mains] = float(np.logaddexp.reduce(logs)) + np.log(_BEFORE[mains])
        give_way()
    return best, share


def _hums(lines: np.ndarray, orders: np.ndarray) -> np.ndarray:
    """The logarithm of how much likelier what is found is with a hum than without, by frequency, from those of its
    lines, (frequencies, orders): which multiples hum is not known, so each counts for itself, in one of three ways."""
    odd, low = orders % 2 == 1, orders <= 3
    near = np.select([orders <= 4, orders <= 10], [_NEXT, _FURTHER], _FAR)
    ways = (
        (_ODD, np.where(orders == 1, _FIRST, np.where(odd, near, _OTHER))),
        (_EVEN, np.where(orders == 2, _FIRST, np.where(odd, _OTHER, near))),
        (_MIXED, np.select([low, orders <= 7, odd], [_LOWEST, _LOW, _FAR], _FAR / 2)),
    )
    without = np.where(low, 0.0, np.logaddexp(np.log1p(-_ELSE), np.log(_ELSE) + lines))
    return np.logaddexp.reduce([
        np.log(way) + (np.logaddexp(np.log1p(-hums) + without, np.log(hums) + lines) - without).sum(axis=1)
        for way, hums in ways
    ])  # fmt: skip


class _Looked:
    """A stretch brought down, its spectrum and its halves'."""

    def __init__(self, low: np.ndarray) -> None:
        self._count = len(low)
        length = 1 << (8 * self._count - 1).bit_length()
        self._step, self._width = _RATE / length, _RATE / self._count
        steep = _power(low, np.hanning(self._count), length)
        give_way()
        weight = np.hanning if stands_out(steep, self._step) > _SKIRTS else _even
        self._power = steep if weight is np.hanning else _power(low, weight(self._count), length)
        give_way()
        self._halves = [_power(half, weight(len(half)), length) for half in _halves(low)]
        give_way()
        self._tones = tones(steep, self._step, self._width, MAINS_HZ, OFF_HZ)
        give_way()

    def lines(self, bases: np.ndarray, orders: np.ndarray, mains: float) -> np.ndarray:
        """The logarithm of how much likelier each multiple's power is with a line than with noise alone, shape
        (frequencies, orders): it is exponentially distributed about the one or the other; 0 for what rings."""
        noise = _beside(self._power, self._step, self._count, mains * orders, mains)
        at = np.rint(np.outer(bases, orders) / self._step).astype(int)
        x = self._power[at] / noise
        # a half is measured with twice the noise, and its amplitude with a deviation of half of one
        first, second = (np.sqrt(half[at] / (2 * noise)) for half in self._halves)
        fades = np.maximum(first, second) ** 2 > _FADES * np.minimum(first, second) ** 2
        fades &= np.abs(first - second) > _FADES_SIGMAS
        top = self._peak(at)
        rings = (x > _WELL_ABOVE) & fades | (x > _ABOVE_SKIRT) & (self._power[top] > _SKIRT * self._power[at])
        # a string that low may have every other line, too
        rings |= (rings & (x > _WELL_ABOVE) & (orders <= 3)).any(axis=1, keepdims=True)
        if len(self._tones):
            rings |= is_partial(self._step * top, self._tones, self._width)
        line = np.logaddexp.reduce(
            [x * above / (1 + above) - np.log1p(above) - np.log(len(_ABOVE)) for above in _ABOVE], axis=0
        )
        return np.where(rings, 0.0, line)

    def _peak(self, at: np.ndarray) -> np.ndarray:
        """Where in the four line widths on either side of a bin most power is: what it is a part of."""
        reach = round(4 * self._width / self._step)
        around = np.arange(-reach, reach + 1)
        return at + around[np.argmax(self._power[at[..., None] + around], axis=-1)]


def _beside(power: np.ndarray, step: float, n: int, hz: np.ndarray, base: float) -> np.ndarray:
    """Noise at some frequencies, shape (L,): a power law fitted to what lies within `_BESIDE_HZ` of each, multiples of
    the base and what their window spreads left out, and what stands out of it, too.

    Noise power is exponentially distributed about its mean, whose logarithm goes straight along that of frequency: a
    generalised linear model, fitted by scoring (Nelder & Wedderburn 1972, J. R. Stat. Soc. A 135, 370, from memory).
    Where it is louder close by, as beside a string that still rings, that counts.
    """
    every = max(round(_RATE / n / step), 1)
    half = round(_BESIDE_HZ / step / every)
    bins = np.rint(hz / step).astype(int)[:, None] + every * np.arange(-half, half + 1)
    bins = np.clip(bins, 1, len(power) - 1)
    at = bins * step
    clear = np.abs(at - base * np.rint(at / base)) > max(3 * _RATE / n, 1.5 * OFF_HZ)
    clear &= at > hz[:, None] / 2
    found, along = power[bins], np.log(at / hz[:, None])
    level = np.log(np.maximum(_median(found, clear), _NOTHING))
    slope = np.zeros(len(hz))
    for _ in range(_ROUNDS):
        over = found * np.exp(-level[:, None] - slope[:, None] * along)
        used = clear & (over < _OUT)
        off = np.where(used, over - _MEAN_BELOW_OUT, 0.0)
        one, two, three = used.sum(axis=1), (used * along).sum(axis=1), (used * along**2).sum(axis=1)
        first, second = off.sum(axis=1), (off * along).sum(axis=1)
        whole = np.maximum(one * three - two**2, 1e-12)
        level += (three * first - two * second) / whole
        slope += (one * second - two * first) / whole
    fitted = np.exp(level)
    close = _median(found, clear & (np.abs(at - hz[:, None]) < _CLOSE_BY_HZ))
    return np.maximum(np.where(close > _LOUDER * fitted, close, fitted), _NOTHING)


def _median(found: np.ndarray, used: np.ndarray) -> np.ndarray:
    """Mean of an exponential by its median, ln 2 of it, along the last axis, of what is used."""
    in_order = np.sort(np.where(used, found, np.inf), axis=-1)
    middle = (used.sum(axis=-1, keepdims=True) - 1) // 2
    return np.take_along_axis(in_order, np.maximum(middle, 0), axis=-1)[..., 0] / np.log(2)


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
