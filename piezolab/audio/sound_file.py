"""A recording from a file: WAV or FLAC, decoded in blocks to one channel at `RATE`, its bytes dropped on the way.

soundfile (libsndfile: BSD and LGPL; wheels for every system, no further dependency but cffi, which is there already)
decodes; miniaudio and pyav read more formats, but the first is one person's work and the second brings forty megabytes
of codecs for formats that must not be compared anyway. It is imported when a file comes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import gcd
from typing import Any

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.file_kinds import check_head, cut_short
from piezolab.audio.slices import Slices

MB = 1_000_000
#: Bytes of one file where a page has the machine to itself, and where a room shares it.
MOST_BYTES, MOST_BYTES_IN_A_ROOM = 128 * MB, 48 * MB
LONGEST_S, SHORTEST_S = 300.0, 1.0
RATES = (8_000, 192_000)
MOST_CHANNELS = 2

_BLOCK = 2**15  # frames decoded at a time
_PLAIN = {"PCM_U8", "PCM_S8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"}
_MOST = 100.0  # times full scale, in a file of floating point
_SILENT = 10 ** (-90 / 20)  # of full scale
_FULL, _IN_A_ROW = 0.9995, 3  # of full scale; samples in a row there are no accident
_OFFSET = 0.9  # share of the power that may stand still


@dataclass(frozen=True, eq=False)
class Recording:
    """One channel of a file, or both.

    samples: float32, shape (N,), of both channels (N, 2), at `RATE`, full scale 1, what stands still taken out; name:
    the file's; rate: Hz and channels, of the file; channel: which one was taken, from 0, the one with more power; peak:
    its (or their) largest sample, of full scale; clipped: moments at which three or more samples in a row stand at full
    scale; offset: what stands still, of full scale; short_of: seconds that the file promises and does not hold.
    """

    samples: np.ndarray
    name: str
    rate: int
    channels: int
    channel: int
    peak: float
    clipped: int
    offset: float
    short_of: float = 0.0

    @property
    def seconds(self) -> float:
        """Its length."""
        return len(self.samples) / RATE


def read_recording(data: Slices, name: str, most_bytes: int = MOST_BYTES, both: bool = False) -> Recording:
    """The whole of `decoding` at once."""
    steps = decoding(data, name, most_bytes, both)
    while True:
        try:
            next(steps)
        except StopIteration as done:
            return done.value


def decoding(data: Slices, name: str, most_bytes: int = MOST_BYTES, both: bool = False) -> Iterator[float]:
    """Decode a file; yields the part that is done (0 to 1) after each block of some milliseconds, returns the
    `Recording`, of the channel with more power or, where there are two and they are wanted, of both. The slices are
    emptied as they are read.

    Two channels are not mixed: of a pickup's cable and an empty input the mean would be 6 dB down. Raises AudioError
    with one sentence that names the file.
    """
    check_size(data.size, name, most_bytes)
    check_head(data.head, name)
    promised, promised_from = cut_short(data.head, data.size)
    file = _opened(data, name)
    _check_kind(file, name)
    found = yield from _looked_through(file, name)
    held = found.frames / file.samplerate
    short = max(found.promised / file.samplerate - held, held * promised / max(data.size - promised_from, 1))
    _check_found(found, name, short)
    file.seek(0)
    channels = slice(None) if both and file.channels > 1 else found.best
    samples = yield from _taken(file, data, found, channels)
    if len(samples) < SHORTEST_S * RATE:
        raise AudioError(f"{name}: it lasts {len(samples) / RATE:.2g} s; {SHORTEST_S:g} s or more is allowed.")
    best = found.best
    peak, clipped = float(np.max(found.peak[channels])), int(np.sum(found.clipped[channels]))
    return Recording(
        samples, name, file.samplerate, file.channels, best, peak, clipped, float(found.mean[best]), short
    )  # fmt: skip


def check_size(size: int, name: str, most_bytes: int = MOST_BYTES) -> None:
    """Raises AudioError for a file that is empty or too large."""
    if size == 0:
        raise AudioError(f"{name}: the file is empty; a WAV or FLAC recording is allowed.")
    if size > most_bytes:
        raise AudioError(f"{name}: it has {size / MB:.0f} MB; up to {most_bytes / MB:.0f} MB is allowed.")


def _opened(data: Slices, name: str) -> Any:
    import soundfile

    try:
        return soundfile.SoundFile(data)
    except (soundfile.SoundFileError, OSError, ValueError, TypeError):
        raise AudioError(
            f"{name}: it begins like a recording, but cannot be read on; save it anew as WAV or FLAC."
        ) from None


def _check_kind(file: Any, name: str) -> None:
    if file.subtype not in _PLAIN:
        raise AudioError(
            f"{name}: a WAV file with compressed sound in it ({file.subtype}); PCM and float are allowed."
        )
    if not 1 <= file.channels <= MOST_CHANNELS:
        raise AudioError(f"{name}: it has {file.channels} channels; 1 or {MOST_CHANNELS} are allowed.")
    low, high = RATES
    if not low <= file.samplerate <= high:
        raise AudioError(
            f"{name}: {file.samplerate / 1000:g} kHz sample rate; {low / 1000:g} to {high / 1000:g} kHz is allowed."
        )
    if not file.frames:
        raise AudioError(f"{name}: it has a header and no sound after it; record it again.")
    seconds = file.frames / file.samplerate
    if seconds > LONGEST_S:
        raise AudioError(
            f"{name}: it lasts {seconds / 60:.1f} min; up to {LONGEST_S / 60:g} min is allowed. Cut it to the "
            "notes and the quiet part before them."
        )


@dataclass(frozen=True)
class _Found:
    """What the first pass saw; arrays of shape (channels,)."""

    promised: int
    frames: int
    power: np.ndarray
    mean: np.ndarray
    peak: np.ndarray
    clipped: np.ndarray
    finite: bool

    @property
    def best(self) -> int:
        return int(np.argmax(self.power - self.mean**2))


def _looked_through(file: Any, name: str) -> Iterator[float]:
    """Levels of every channel, before anything is kept."""
    count, finite = 0, True
    total, square, peak, clipped = (np.zeros(file.channels) for _ in range(4))
    run = np.zeros(file.channels, int)
    for block in _blocks(file, name):
        rows = np.ascontiguousarray(block.T, float)  # sums along rows are several times faster than along columns
        size = np.abs(rows)
        highest = size.max(axis=1)
        finite = finite and bool(np.isfinite(highest).all())  # what is no number is the largest of all
        if not finite:
            break
        total += rows.sum(axis=1)
        square += np.einsum("ij,ij->i", rows, rows)
        peak = np.maximum(peak, highest)
        for channel in range(file.channels):
            more, run[channel] = _full_runs(size[channel] >= _FULL, int(run[channel]))
            clipped[channel] += more
        count += len(block)
        yield 0.4 * count / file.frames
    n = max(count, 1)
    return _Found(file.frames, count, square / n, total / n, peak, clipped, finite)


def _full_runs(full: np.ndarray, before: int) -> tuple[int, int]:
    """How many runs at full scale reach `_IN_A_ROW` samples within a block, and how long the one at its end is; before:
    how long the one was that the block goes on with."""
    if not full.any():
        return 0, 0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], full, [False]])))
    starts, ends = edges[::2], edges[1::2]
    lengths = ends - starts
    counted = int((lengths >= _IN_A_ROW).sum())
    if starts[0] == 0:
        counted += int(before < _IN_A_ROW <= before + lengths[0]) - int(lengths[0] >= _IN_A_ROW)
        lengths[0] += before
    return counted, int(lengths[-1]) if ends[-1] == len(full) else 0


def _check_found(found: _Found, name: str, short: float) -> None:
    if not found.finite:
        raise AudioError(f"{name}: it has samples that are no number; save it anew as WAV of 24 bits.")
    if found.peak.max() > _MOST:
        raise AudioError(
            f"{name}: a sample is {found.peak.max():.3g} times full scale; up to {_MOST:g} is allowed. Save it anew."
        )
    if not found.frames:
        raise AudioError(f"{name}: it is cut off before its first sound; copy or record it again.")
    if short > 1.0:
        raise AudioError(f"{name}: it is cut off, {short:.0f} s are missing at its end; copy it again.")
    best = found.best
    if found.peak.max() < _SILENT:
        raise AudioError(f"{name}: it is silent throughout; look at the cable, the input and its gain.")
    if found.mean[best] ** 2 > _OFFSET * found.power[best]:
        raise AudioError(
            f"{name}: it holds a steady voltage and next to no sound; record it again through an input that blocks "
            "direct voltage."
        )


def _taken(file: Any, data: Slices, found: _Found, channels: int | slice) -> Iterator[float]:
    """A channel, or all, at `RATE`, float32; what has been read is dropped."""
    up, down = RATE // gcd(RATE, file.samplerate), file.samplerate // gcd(RATE, file.samplerate)
    out = np.empty((-(-found.frames * up // down), *found.mean[None, channels].shape[1:]), np.float32)
    filled, read = 0, 0
    for part in _resampled(_of_channels(file, data, found, channels), up, down):
        size = min(len(part), len(out) - filled)
        out[filled : filled + size] = part[:size]
        filled, read = filled + size, read + size
        yield 0.4 + 0.6 * min(read / max(len(out), 1), 1.0)
    return out[:filled]


def _of_channels(file: Any, data: Slices, found: _Found, channels: int | slice) -> Iterator[np.ndarray]:
    for block in _blocks(file, ""):
        data.drop_read()
        yield block[:, channels] - np.float32(found.mean[channels])


def _blocks(file: Any, name: str) -> Iterator[np.ndarray]:
    """Blocks of the file, float32, shape (n, channels); what is torn ends it early."""
    import soundfile

    while True:
        try:
            block = file.read(_BLOCK, dtype="float32", always_2d=True)
        except (soundfile.SoundFileError, RuntimeError):
            return
        if not len(block):
            return
        yield block


def _resampled(blocks: Iterator[np.ndarray], up: int, down: int) -> Iterator[np.ndarray]:
    """The blocks at up/down of their rate, as if resampled in one piece (a linear-phase filter, flat to 0.9 of the
    lower rate's half)."""
    if up == down:
        yield from blocks
        return
    from scipy.signal import firwin, resample_poly

    half = 32 * max(up, down)
    window = firwin(2 * half + 1, 0.95 / max(up, down), window=("kaiser", 9.0))
    around = down * (half // (up * down) + 1)  # frames on either side that the filter reaches
    held, lead = None, 0  # lead: frames of it that are out already
    for block in blocks:
        held = block if held is None else np.concatenate([held, block])
        size = (len(held) - lead - around) // down * down
        if size <= 0:
            continue
        yield _middle(resample_poly, held, window, (up, down), lead, size)
        cut = max(lead + size - around, 0)
        held, lead = held[cut:], lead + size - cut
    if held is not None and len(held) > lead:
        yield _middle(resample_poly, held, window, (up, down), lead, len(held) - lead)


def _middle(
    resample: Any, held: np.ndarray, window: np.ndarray, ratio: tuple[int, int], skip: int, size: int
) -> np.ndarray:
    """What `size` frames after the first `skip` become; skip is a multiple of the ratio's second."""
    up, down = ratio
    out = resample(held, up, down, window=window)
    at = skip * up // down
    return out[at : at + -(-size * up // down)].astype(np.float32)
