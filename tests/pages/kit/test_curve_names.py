"""Names written on curves: one for each that is seen, one for those that lie on each other, clear and at rest."""

from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from piezolab.pages.kit.curve_names import SLIM, WIDE, Named, Window, curve_names, wide_of

X = np.linspace(1.0, 4.5, 200)
ENDS = (1.3, 4.3)


def high_pass(corner: float, level: float) -> np.ndarray:
    """A first-order high-pass in dB; corner: log10 of Hz."""
    return level - 10 * np.log10(1 + 10 ** (2 * (corner - X)))


def boxes(notes: list[dict], seen: Window) -> list[tuple[float, float, float, float]]:
    """What each name covers, px: left, top, right, bottom; from its anchor, as the drawing library places it."""
    out = []
    for note in notes:
        wide, high = wide_of(note["text"]), 17.0
        left = seen.across(note["x"]) + note["xshift"] - {"left": 0, "center": 0.5, "right": 1}[note["xanchor"]] * wide
        top = seen.down(note["y"]) - note["yshift"] - (high if note["yanchor"] == "bottom" else 0)
        out.append((left, top, left + wide, top + high))
    return out


@given(st.lists(st.tuples(st.floats(1, 4), st.floats(-25, 5)), min_size=1, max_size=3), st.sampled_from([WIDE, SLIM]))
def test_every_curve_that_is_seen_has_its_name_once_and_no_two_touch(shapes, size):
    seen = Window(ENDS, (-40, 10), size)
    curves = [Named(f"curve {n}", X, high_pass(*shape), f"#00000{n}") for n, shape in enumerate(shapes)]
    notes = curve_names(curves, seen)
    assert sorted(name for note in notes for name in note["text"].split(" = ")) == [one.name for one in curves]
    for a, b in combinations(boxes(notes, seen), 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
    for left, top, right, bottom in boxes(notes, seen):
        assert left >= 0 and right <= size[0] and top >= 0 and bottom <= size[1]


def test_curves_on_each_other_share_a_name_and_what_is_out_of_sight_has_none():
    seen = Window(ENDS, (-40, 10))
    one, far = high_pass(2.0, 0.0), np.full(X.size, -60.0)
    curves = [Named("bare", X, one, "red"), Named("staged", X, one + 0.1, "blue"), Named("deep", X, far, "green")]
    [note] = curve_names(curves, seen)
    assert note["text"] == "bare = staged" and note["font"]["color"].startswith("var(--pz-text")
    apart = curve_names([curves[0], Named("staged", X, one + 5, "blue")], seen)
    assert {note["text"]: note["font"]["color"] for note in apart} == {"bare": "red", "staged": "blue"}
    band = Named("band", X, one, "grey", joins=False)
    assert {note["text"] for note in curve_names([curves[0], band], seen)} == {"bare", "band"}


def test_a_name_rides_on_its_curve_while_a_slider_moves():
    seen = Window(ENDS, (-40, 10))
    at = []
    for step in np.linspace(1.5, 3.5, 60):
        pair = [Named("bare", X, high_pass(step, 0), "r"), Named("staged", X, high_pass(1, -1), "b")]
        at.append({note["text"]: note["x"] for note in curve_names(pair, seen)}["staged"])
    # over two decades of the other's corner, which comes along this one from end to end
    assert sum(one != two for one, two in zip(at, at[1:], strict=False)) <= 8


def test_a_name_keeps_clear_of_words_and_markers():
    seen = Window(ENDS, (-40, 10))
    curve = Named("bare", X, np.full(X.size, -10.0), "r")
    [free] = boxes(curve_names([curve], seen), seen)
    for kind in ("taken", "marks"):
        [moved] = boxes(curve_names([curve], seen, **{kind: [free]}), seen)
        assert moved[0] >= free[2] or moved[2] <= free[0] or moved[1] >= free[3] or moved[3] <= free[1]
