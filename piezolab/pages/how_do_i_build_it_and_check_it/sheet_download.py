"""The build sheet to take to the bench: saved as a file that needs nothing else, or opened to be printed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import traitlets

from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.piece import STATIC, Piece

FILE = "piezolab-build-sheet.html"


class SheetDownload(Piece):
    """Two buttons. `make` gives the sheet as a whole HTML document; it is sent as a message, with no address."""

    _esm = STATIC / "sheet_download.js"
    words = {"sheet": "_asked"}

    file = traitlets.Unicode(FILE).tag(sync=True)

    def __init__(self, make: Callable[[], str]) -> None:
        super().__init__()
        self._make = make

    def _asked(self, content: dict[str, Any]) -> None:
        try:
            self.send({"sheet": self._make()})
        except CircuitError as error:
            self.send({"trouble": f"The sheet could not be worked out for this chain: {error}"})
        except Exception:
            self.send({"trouble": "The sheet could not be made; undo takes you back to the chain before."})
            raise
