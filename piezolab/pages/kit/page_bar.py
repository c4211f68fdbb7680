"""The row of buttons below a page's controls."""

from __future__ import annotations

from typing import Any

from piezolab.pages.kit.page_state import PageState


def bar_buttons(state: PageState, chapter: Any, phase: bool, other: bool) -> list[dict[str, Any]]:
    """What `Buttons.show` takes, for a state and a `skeleton.Chapter`. phase, other: whether these are pressed in."""
    buttons: list[dict[str, Any]] = [
        {"word": "undo", "label": "undo", "off": not state.can_undo},
        {"word": "redo", "label": "redo", "off": not state.can_redo},
        {"word": "over", "label": "start over"},
    ]
    if chapter.keeps:
        buttons.append({"word": "keep", "label": "keep this curve"})
    if chapter.keeps and state.kept is not None:
        buttons.append({"word": "drop", "label": "drop the kept curve"})
    if chapter.has_phase:
        buttons.append({"word": "phase", "label": chapter.lower, "held": phase, "only": "narrow"})
    if chapter.other is not None:
        buttons.append({"word": "other", "label": chapter.other[0], "held": other})
    return buttons
