"""What was found, saved as a file: a page to print, the bands as CSV, everything as JSON."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from piezolab.pages.did_it_do_what_was_predicted.takes_state import TakesState
from piezolab.pages.kit.file_buttons import FileButtons
from piezolab.pages.kit.piece import text_in
from piezolab.studies.recordings.take_figures import bands_csv, take_figures

KINDS = [["sheet", "save a page to print"], ["csv", "save the bands (CSV)"], ["json", "save all figures (JSON)"]]
NOTHING = "There is nothing to save yet."


class TakesDownload(FileButtons):
    """Three buttons; what they save is made when one is pressed and sent as a message. summary: makes the page to
    print, "" where there is nothing on it."""

    def __init__(self, state: TakesState, summary: Callable[[], str] = lambda: "") -> None:
        super().__init__(kinds=KINDS)
        self._state, self._summary = state, summary

    def _save(self, content: dict[str, Any]) -> None:
        now, chain, kind = self._state.compared, self._state.chain, text_in(content, "kind", 10)
        if kind == "sheet":
            self._save_sheet()
            return
        if kind not in ("csv", "json"):
            return
        if isinstance(now, str):
            self.send({"trouble": now or NOTHING})
        elif kind == "csv":
            self.send({"file": "piezolab-takes.csv", "type": "text/csv", "text": bands_csv(now, chain)})
        else:
            figures = take_figures(self._state.heard.takes, now, chain) | {"invented": self._state.heard.invented}
            text = json.dumps(figures, indent=1, allow_nan=False)
            self.send({"file": "piezolab-takes.json", "type": "application/json", "text": text})

    def _save_sheet(self) -> None:
        sheet = self._summary()
        if sheet:
            self.send({"file": "piezolab-takes.html", "type": "text/html", "text": sheet})
        else:
            self.send({"trouble": NOTHING})
