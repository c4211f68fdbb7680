"""The build sheet to take to the bench, saved as a file that needs nothing else or opened to be printed; the board's
drawing saved alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import traitlets

from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.piece import STATIC, Piece

FILE = "piezolab-build-sheet.html"
DRAWING = "piezolab-board.svg"


class SheetDownload(Piece):
    """Three buttons. `make` gives the sheet as a whole HTML document, `draw` the board as an SVG, or "" and the
    sentence why there is none; they are sent as messages, with no address."""

    _esm = STATIC / "sheet_download.js"
    words = {"sheet": "_asked", "board": "_wanted"}

    file = traitlets.Unicode(FILE).tag(sync=True)
    drawing = traitlets.Unicode(DRAWING).tag(sync=True)

    def __init__(self, make: Callable[[], str], draw: Callable[[], tuple[str, str]] = lambda: ("", "")) -> None:
        super().__init__()
        self._make, self._draw = make, draw

    def _wanted(self, content: dict[str, Any]) -> None:
        svg, problem = self._draw()
        self.send({"board": svg} if svg else {"trouble": problem or "With no stage there is no board to draw."})

    def _asked(self, content: dict[str, Any]) -> None:
        try:
            self.send({"sheet": self._make()})
        except CircuitError as error:
            self.send({"trouble": f"The sheet could not be worked out for this chain: {error}"})
        except Exception:
            self.send({"trouble": "The sheet could not be made; undo takes you back to the chain before."})
            raise
