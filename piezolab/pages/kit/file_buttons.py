"""Buttons that each save a file; what it holds is made when its button is pressed."""

from __future__ import annotations

import traitlets

from piezolab.pages.kit.piece import STATIC, Piece


class FileButtons(Piece):
    """One button for each of `kinds`, pairs of word and label. A press sends the word as `kind` in a message `save`;
    the answer has `file` and `type`, and the content as `text` or as a buffer, or `trouble`, a sentence."""

    _esm = STATIC / "file_buttons.js"
    kinds = traitlets.List().tag(sync=True)
    words = {"save": "_save"}
