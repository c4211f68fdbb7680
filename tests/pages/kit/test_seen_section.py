"""The picture of what was played: there once something was, drawn where it is opened, and flat where it clips."""

import numpy as np

from piezolab.pages.how_loud_before_it_clips import chapter as page
from piezolab.pages.kit.seen_section import SeenSection
from tests.pages.kit.test_player import asked


def _seen(made) -> SeenSection:
    boxes, found = [made.widget], []
    while boxes:
        box = boxes.pop()
        found += [box] if isinstance(box, SeenSection) else []
        boxes += getattr(box, "children", ())
    (one,) = found
    return one


def test_it_is_there_once_something_was_played() -> None:
    made = page.make("play_v=4&input_max=1&stage=direct")
    seen = _seen(made)
    assert seen.layout.display == "none" and seen.wave.revision == 0
    asked(made.player, versions=["bare"], level="true")
    assert seen.layout.display is None and seen.wave.revision == 0, "shut, it draws nothing"
    seen.head._turned({"open": True})
    (wave,), (spectrum,) = seen.wave.traces, seen.spectrum.traces
    assert wave["name"] == "bare pickup" == spectrum["name"] and seen.wave.layout.display is None
    top = np.abs(wave["y"]).max()
    flat = np.abs(wave["y"]) > 0.97 * top
    assert flat.sum() > 0.05 * len(flat), "the input's ceiling is seen as a flat top"
    revision = seen.wave.revision
    asked(made.player, versions=["bare"], level="matched")
    assert seen.wave.revision == revision + 1
