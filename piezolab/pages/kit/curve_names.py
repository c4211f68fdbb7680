"""Where the names of a plot's curves stand: on the plot, each beside its own curve, clear of everything else there.

A place is a point of a curve and the side of it on which the name stands. It is chosen for the smallest plot that a
page makes, so on any larger one the names have more room and stay clear. The first place of a fixed order that is
clear is taken: while a slider moves, a name rides on its curve and leaves its place only when something comes near.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

#: Smallest width and height in px of what is between the axes, on a desk and on a phone.
WIDE, SLIM = (458.0, 140.0), (242.0, 108.0)
TEXT_PX = 12
_HIGH = 17.0  # px: a line of that text with its margins
_LETTER = 5.9  # px: more than a letter of it takes on average
_STEP = 5.0  # px between the points at which curves are looked at
_CLEAR = 4.0  # px between a name and its curve
_NEAR = 12.0  # px: nearer than this a name could be that of another curve
_ALIKE = 2.5  # px: curves nearer than this all along are one line to the eye
_SPOTS = np.linspace(0.02, 0.98, 9)  # of the width
_FAR = 9e3  # px: out of sight
_FIRST = 0.62  # of the width: where a name would stand if all were clear
_SIDES = (("center", "bottom"), ("right", "bottom"), ("left", "top"), ("center", "top"), ("left", "bottom"),
          ("right", "top"))  # fmt: skip
_SAME = [0, 1, 2, 0, 2, 1]  # the first side with the same way across
_LEFT = np.array([{"left": 0.0, "center": -0.5, "right": -1.0}[side] for side, _ in _SIDES])
_ASIDE = np.array([{"left": 1.0, "center": 0.0, "right": -1.0}[side] for side, _ in _SIDES])
_LATER = np.array([0.0, 1.5, 1.5, 0.1, 1.6, 1.6])  # dearer than above: to stand aside of the point
_BELOW = np.array([side == "top" for _, side in _SIDES])
_OUT, _ON_NAME, _ON_CURVE, _AT_OTHER, _UNDER_NAME = 1000.0, 1200.0, 60.0, 10.0, 2.0

# Words want more contrast than lines: the same hues, darker on a light page.
_WORDS = {
    "var(--pz-curve-bare, #D55E00)": "var(--pz-name-bare, #B54D00)",
    "var(--pz-curve-kept, #009E73)": "var(--pz-name-kept, #007D5A)",
    "var(--pz-curve-other, #CC79A7)": "var(--pz-name-other, #A8507F)",
    "var(--pz-curve-fifth, #B8860B)": "var(--pz-name-fifth, #8F6800)",
}

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Named:
    """A curve and its name. x and y: shape (n,), as the axes count (logarithms on a logarithmic axis), x rising.

    name: if empty, other names only keep clear of it; colour: of the curve; joins: whether it shares one name with a
    curve that lies on it; stands: its points are the heads of upright lines, and nothing is between them.
    """

    name: str
    x: np.ndarray
    y: np.ndarray
    colour: str
    joins: bool = True
    stands: bool = False


@dataclass(frozen=True)
class Window:
    """What of the plane is seen: ends of both axes, as the axes count, and the smallest size in px."""

    x: tuple[float, float]
    y: tuple[float, float]
    size: tuple[float, float] = WIDE

    def across(self, x: Any) -> Any:
        """px from the left."""
        return (x - self.x[0]) / (self.x[1] - self.x[0]) * self.size[0]

    def down(self, y: Any) -> Any:
        """px from the top."""
        return (self.y[1] - y) / (self.y[1] - self.y[0]) * self.size[1]


@dataclass(frozen=True)
class _Place:
    """Where a name stands: its box, and the point (px across and from the top) on whose side it is; how bad that is."""

    box: Box
    point: tuple[float, float]
    side: tuple[str, str]
    cost: float


def ink(colour: str) -> str:
    """The colour in which the name of a curve of this colour is written."""
    return _WORDS.get(colour, colour)


def wide_of(text: str) -> float:
    """Room that a name takes, px."""
    return _LETTER * len(text) + 4


def curve_names(
    curves: Sequence[Named],
    seen: Window,
    taken: Sequence[Box] = (),
    marks: Sequence[Box] = (),
    yref: str = "y",
) -> list[dict[str, Any]]:
    """Annotations with the name of each curve that can be seen; curves that lie on each other share one.

    taken, marks: boxes in px (left, top, right, bottom) of other words and of markers.
    """
    if not curves:
        return []
    grid = np.arange(0.0, seen.size[0] + _STEP / 2, _STEP)
    lines = np.array([_line(curve, seen, grid) for curve in curves])
    shared = list(_shared(curves, lines, seen))
    stands = [curve.stands for curve in curves]
    # the longest name has the fewest places, so it goes first; in a crowd other orders may do better
    best: tuple[float, list[tuple[str, str, _Place]]] = (math.inf, [])
    orders: tuple[Callable[[tuple[str, str, int]], Any], ...] = (
        lambda one: -len(one[0]), lambda one: (stands[one[2]], -len(one[0])), lambda one: one[2],
        lambda one: len(one[0]), lambda one: -one[2],
    )  # fmt: skip
    for order in orders:
        words, places, dear = list(taken), [], 0.0
        for text, colour, number in sorted(shared, key=order):
            place = _best(wide_of(text), number, lines, seen, words, np.array(marks).reshape(-1, 4), stands[number])
            words.append(place.box)
            places.append((text, colour, place))
            dear += place.cost
        if dear < best[0]:
            best = dear, places
        if best[0] < _OUT:
            break
    return [_note(text, colour, place, seen, yref) for text, colour, place in best[1]]


def _note(text: str, colour: str, place: _Place, seen: Window, yref: str) -> dict[str, Any]:
    """A name at its place as an annotation."""
    (at, here), (xanchor, yanchor) = place.point, place.side
    return {
        "x": seen.x[0] + at / seen.size[0] * (seen.x[1] - seen.x[0]),
        "y": seen.y[1] - here / seen.size[1] * (seen.y[1] - seen.y[0]), "xref": "x", "yref": yref,
        "text": text, "showarrow": False, "xanchor": xanchor, "yanchor": yanchor,
        "xshift": {"left": _CLEAR, "right": -_CLEAR}.get(xanchor, 0),
        "yshift": _CLEAR if yanchor == "bottom" else -_CLEAR, "borderpad": 0,
        "font": {"size": TEXT_PX, "color": ink(colour)}, "bgcolor": "var(--pz-page, #ffffff)",
    }  # fmt: skip


def _line(curve: Named, seen: Window, grid: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Upper and lower end, px from the top, of what is drawn of a curve at each point of the grid; far below and far
    above where that is nothing."""
    y = np.where(np.isfinite(curve.y), curve.y, seen.y[0] - 9 * (seen.y[1] - seen.y[0]))
    across, down = seen.across(curve.x), np.clip(seen.down(y), -_FAR, _FAR)
    if curve.stands:
        upper, lower = np.full(grid.size, _FAR), np.full(grid.size, -_FAR)
        inside = (across >= 0) & (across <= seen.size[0])
        at = np.rint(across[inside] / _STEP).astype(int)
        np.minimum.at(upper, at, down[inside])
        lower[at] = _FAR
        return upper, lower
    upper = np.interp(grid, across, down, left=_FAR, right=_FAR)
    return upper, upper if across[0] <= 0 and across[-1] >= seen.size[0] else np.where(upper == _FAR, -_FAR, upper)


def _shared(curves: Sequence[Named], lines: np.ndarray, seen: Window) -> Iterator[tuple[str, str, int]]:
    """Name, colour and number of each curve that gets a name."""
    told: set[int] = set()
    uppers = lines[:, 0]
    there = ((uppers >= 0) & (uppers <= seen.size[1])).any(axis=1)
    shown = np.clip(uppers, 0, seen.size[1])
    for number, curve in enumerate(curves):
        if number in told or not curve.name or not there[number]:
            continue
        same, name = [number], curve.name
        for other in range(number + 1, len(curves)):
            joined = f"{name} = {curves[other].name}"
            may = curve.joins and curves[other].joins and curves[other].name and other not in told
            if may and wide_of(joined) < SLIM[0] and np.abs(shown[number] - shown[other]).max() < _ALIKE:
                same.append(other)
                name = joined
        told.update(same)
        yield name, curve.colour if len(same) == 1 else "var(--pz-text, #1c1c1c)", number


def _best(
    wide: float, number: int, lines: np.ndarray, seen: Window, words: Sequence[Box], marks: np.ndarray, stands: bool,
    anywhere: bool = False,
) -> _Place:
    """The first of the best places for a name."""
    width, high = seen.size
    at, here = _points(lines[number, 0], seen, stands, anywhere)
    left = at[:, None] + wide * _LEFT + _CLEAR * _ASIDE
    top = here[:, None] + np.where(_BELOW, _CLEAR, -_CLEAR - _HIGH)
    right, bottom = left + wide, top + _HIGH
    cost = 3 * np.abs(at / width - _FIRST)[:, None] + _LATER
    cost = cost + _OUT * ((left < 0) | (right > width) | (top < 0) | (bottom > high))
    span = min(int(wide // _STEP) + 2, lines.shape[-1])
    start = np.clip((left[:, :3] // _STEP).astype(int), 0, lines.shape[-1] - span)
    stretch = lines[:, :, start[..., None] + np.arange(span)]
    upper, lower = stretch[:, 0].min(axis=-1)[..., _SAME], stretch[:, 1].max(axis=-1)[..., _SAME]
    cost = cost + _ON_CURVE * ((upper < bottom + 1) & (lower > top - 1)).sum(axis=0)
    near = (upper < bottom + _NEAR) & (lower > top - _NEAR)
    cost = cost + _AT_OTHER * (near.sum(axis=0) - near[number])
    if words:
        a, b, c, d = np.array(words).T[:, :, None, None]
        beside = (left < c + 2) & (right > a - 2)
        cost = cost + (_UNDER_NAME * beside + _ON_NAME * (beside & (top < d + 1) & (bottom > b - 1))).sum(axis=0)
    if marks.size:
        a, b, c, d = marks.T[:, :, None, None]
        cost = cost + _ON_CURVE * ((left < c) & (right > a) & (top < d) & (bottom > b)).any(axis=0)
    row, side = np.unravel_index(np.argmin(cost), cost.shape)
    if cost[row, side] >= _OUT and not anywhere:  # a crowd: look between the usual places
        return _best(wide, number, lines, seen, words, marks, stands, True)
    box = (float(left[row, side]), float(top[row, side]), float(right[row, side]), float(bottom[row, side]))
    return _Place(box, (float(at[row]), float(here[row])), _SIDES[side], float(cost[row, side]))


def _points(own: np.ndarray, seen: Window, stands: bool, anywhere: bool) -> tuple[np.ndarray, np.ndarray]:
    """Where a curve may have its name: px across and from the top."""
    width, high = seen.size
    index = np.rint(_SPOTS * width / _STEP).astype(int)
    index = index[(own[index] >= 0) & (own[index] <= high)]
    if stands or anywhere or not index.size:  # a curve that only crosses the picture between two of these points
        index = np.flatnonzero((own >= 0) & (own <= high))
    at, here = index * _STEP, own[index]
    if stands:  # the last line may have it anywhere along it, too
        down = np.arange(here[-1] + _HIGH, high, _HIGH)
        at, here = np.append(at, np.full(down.size, at[-1])), np.append(here, down)
    return at, here


def note_boxes(notes: Sequence[dict[str, Any]], seen: Window) -> list[Box]:
    """Room of words that hang at the top of a plot, to the right of their points, as `bode.note_names` makes them."""
    lefts = [float(seen.across(note["x"])) for note in notes]
    return [(left, 0.0, left + wide_of(note["text"]), _HIGH) for left, note in zip(lefts, notes, strict=True)]


def mark_boxes(curves: Sequence[tuple[np.ndarray, np.ndarray]], seen: Window) -> list[Box]:
    """Room of the markers on curves; their places as the axes count."""
    half = 7.0
    out = []
    for x, y in curves:
        a, b = seen.across(np.asarray(x)), seen.down(np.asarray(y))
        out += np.stack([a - half, b - half, a + half, b + half], axis=-1).tolist()
    return out


def edge_boxes(marks: Sequence[dict[str, Any]], seen: Window) -> list[Box]:
    """Room of marks at the lower edge, as `bode.below_marks` makes them."""
    out = []
    for mark in marks:
        middle, foot, half = float(seen.across(mark["x"])), seen.size[1] - mark["yshift"], wide_of(mark["text"]) / 2
        out.append((middle - half, foot - _HIGH, middle + half, foot))
    return out
