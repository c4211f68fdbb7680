"""Plucked instruments as somebody recorded them: the sampled bank that the package pretty_midi carries.

The package is under the MIT licence; the bank in it, TimGM6mb.sf2, under the GNU General Public License, version 2.
Both are installed for the tests only, and nothing of them is copied here. Each sample is the recorded attack and a
loop of some periods, which is played on and dies away, as such a bank is meant to be played: what is heard after the
first twentieth to seventh of a second is the loop.
"""

from __future__ import annotations

import importlib.util
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from piezolab.audio import RATE

_HEADER = struct.Struct("<20sIIIIIBbHH")  # of a sample: SoundFont 2.01, 7.10
_PERIODS = (1 / 1500, 1 / 30)  # s
#: Beginnings of the names of what is plucked; each has two recordings or more in the range of pitches.
PLUCKED = ("N Guitar", "Steel AcGtr", "Banjo", "Shamison", "Koto", "Jazz Guitar")


@dataclass(frozen=True, eq=False)
class Plucked:
    """One recorded pluck: samples up to the loop's end, -1 to 1; loop: its first sample; rate: of the samples, Hz;
    period: in samples."""

    name: str
    samples: np.ndarray
    loop: int
    rate: int
    period: float


def _pieces(data: bytes, start: int, stop: int) -> Iterator[tuple[bytes, int, int]]:
    """The pieces of a RIFF file's list: name, first and last byte."""
    while start < stop:
        name, size = struct.unpack_from("<4sI", data, start)
        yield name, start + 8, start + 8 + size
        start += 8 + size + size % 2


@lru_cache
def bank() -> tuple[Plucked, ...]:
    """Every plucked sample between 60 and 700 Hz of the bank, read without importing the package."""
    spec = importlib.util.find_spec("pretty_midi")
    data = (Path(spec.origin).parent / "TimGM6mb.sf2").read_bytes()
    found = {}
    for name, first, last in _pieces(data, 12, len(data)):
        if name == b"LIST":
            found |= {own: (a, b) for own, a, b in _pieces(data, first + 4, last) if own in (b"smpl", b"shdr")}
    sound = np.frombuffer(data[slice(*found[b"smpl"])], "<i2") / 2.0**15
    first, last = found[b"shdr"]
    out = []
    for at in range(first, last - _HEADER.size, _HEADER.size):  # the last header only ends the list
        label, start, _, loop, stop, rate, *_ = _HEADER.unpack_from(data, at)
        label = label.split(b"\0")[0].decode("ascii")
        if label.startswith(PLUCKED):
            own = sound[start:stop]
            period = _period(own[loop - start :], rate)
            if 60 <= rate / period <= 700:
                out.append(Plucked(label, own, loop - start, rate, period))
    return tuple(out)


def of_kind(kind: str) -> tuple[Plucked, ...]:
    return tuple(one for one in bank() if one.name.startswith(kind))


def _period(loop: np.ndarray, rate: int) -> float:
    """In samples: the loop over the number of periods with which it is most like itself moved by one."""
    spectrum = np.abs(np.fft.rfft(loop - loop.mean())) ** 2
    best, most = 1, 0.0
    for count in range(1, 40):
        if not _PERIODS[0] * rate <= len(loop) / count <= _PERIODS[1] * rate:
            continue
        share = spectrum[count::count].sum() / spectrum.sum()
        if share > 0.9 and count > best or not most:
            best, most = count, share
    return len(loop) / best


def played(one: Plucked, hz: float, seconds: float, t60: float) -> np.ndarray:
    """A pluck at another pitch, at `RATE`, let die away by 60 dB in t60 s, and damped in its last 0.1 s; peak 1."""
    count = round(seconds * RATE)
    at = np.arange(count) * (hz * one.period / RATE)
    around = len(one.samples) - one.loop
    at = np.where(at < one.loop, at, one.loop + (at - one.loop) % around)
    low = at.astype(int)
    after = np.where(low + 1 < len(one.samples), low + 1, one.loop)
    note = one.samples[low] + (at - low) * (one.samples[after] - one.samples[low])
    note *= 10.0 ** (-3 * np.arange(count) / (t60 * RATE))
    note[-4800:] *= np.linspace(1, 0, 4800)
    return note / np.abs(note).max()
