"""A move that needs more memory than a page has is told, and the page goes on."""

import dataclasses

import numpy as np
import pytest

from piezolab.pages.how_loud_before_it_clips import chapter as page


def test_a_move_without_memory_is_a_sentence_and_the_next_move_works(monkeypatch: pytest.MonkeyPatch) -> None:
    made = page.make("")
    view, words = made.chapter.view, made.verdict.content

    def greedy(chain, kept, phase):
        if chain.cable_m == 7:
            np.empty(2**62, dtype=np.uint8)  # more than any address space: refused at once
        return view(chain, kept, phase)

    made.chapter = dataclasses.replace(made.chapter, view=greedy)
    assert made.state.enter("cable_m", "7") == ""
    assert "more memory than a page has" in made.state.trouble and "undo" in made.state.trouble
    assert made.verdict.content == words
    assert made.state.enter("cable_m", "6") == "" and made.state.trouble == ""
