"""How the partials of a note scatter from pluck to pluck, and how much each of them therefore tells.

A string plucked at a partial's node has little of that partial: where it was plucked moves such partials most, and in a
pattern. Weighing by the inverse of that scatter (generalised least squares: Aitken 1935, from memory) takes the pattern
out.
"""

from __future__ import annotations

import numpy as np

from piezolab.studies.recordings.shared_notes import SharedNote

DULL_HZ = 2000.0  # above, how bright a pluck is counts for more than what is sought
#: So few plucks do not fix how all partials go together: reckoned beside them is as much that each scatters by itself,
#: and, of that, so many plucks in which all scatter alike; each scatters at least by so many decibels.
_APART, _ALIKE, _LEAST_DB = 8.0, 4.0, 1.0
READ_DB = 0.15  # how truly a partial's gain is read however often it was plucked, as found with one performance


def sureness(note: SharedNote) -> np.ndarray:
    """The inverse of how uncertain the partials' gains are, each note's own level apart, 1/dB^2, shape (P, P)."""
    return _inverse(*_total(note), note)


def sureness_without(note: SharedNote) -> tuple[np.ndarray, np.ndarray]:
    """The same with each pluck left out in turn, bare and with the stage, shapes (n, P, P) and (m, P, P)."""
    total, many = _total(note)
    without = []
    for off in _off(note):
        count = len(off)
        without.append(_inverse(total - count / (count - 1) * off[:, :, None] * off[:, None, :], many - 1, note))
    return tuple(without)


def _off(note: SharedNote) -> list[np.ndarray]:
    """Each pluck's partials against the mean, the pluck's own level taken out, dB."""
    sides = []
    for levels in (note.bare, note.staged):
        own = levels - levels.mean(axis=1, keepdims=True)
        sides.append(own - own.mean(axis=0))
    return sides


def _total(note: SharedNote) -> tuple[np.ndarray, int]:
    """Sum of squares and products, shape (P, P), and of how many plucks, their means taken off."""
    sides = _off(note)
    return sum(off.T @ off for off in sides), sum(len(off) - 1 for off in sides)


def _inverse(total: np.ndarray, many: int, note: SharedNote) -> np.ndarray:
    """From sums of shape (..., P, P)."""
    hz, bare, staged = note.hz, len(note.bare), len(note.staged)
    each = np.maximum(np.diagonal(total, axis1=-2, axis2=-1), 0)
    alone = (each + _ALIKE * each.mean(axis=-1, keepdims=True) / max(many, 1)) / (many + _ALIKE) + _LEAST_DB**2
    alone = alone * (1 + (hz / DULL_HZ) ** 2)
    apart = _APART * alone[..., None] * np.eye(len(hz))
    scatter = (total + apart) / (many + _APART)
    return np.linalg.inv(scatter * (1 / bare + 1 / staged) + READ_DB**2 * np.eye(len(hz)))
