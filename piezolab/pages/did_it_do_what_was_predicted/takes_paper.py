"""The recordings page's findings on paper: what it says of takes and sweep, and their figures."""

from __future__ import annotations

import numpy as np

from piezolab.pages.did_it_do_what_was_predicted import sentences as say
from piezolab.pages.did_it_do_what_was_predicted.sweep_measure import SweepMeasure
from piezolab.pages.did_it_do_what_was_predicted.sweep_words import sweep_tables, sweep_verdict
from piezolab.pages.did_it_do_what_was_predicted.take_tables import numbers
from piezolab.pages.did_it_do_what_was_predicted.takes_state import TakesState
from piezolab.pages.kit.bode import AUDIBLE
from piezolab.sheets.takes_summary import PaperCurve, PaperPart, takes_summary
from piezolab.studies.recordings.against_prediction import gain_by_stage

_GRID = np.geomspace(*AUDIBLE, 200)


def takes_paper(state: TakesState, by_sweep: SweepMeasure) -> str:
    """The whole document; "" where there is neither."""
    parts = [part for part in (_of_takes(state), _of_sweep(state, by_sweep)) if part is not None]
    return takes_summary(state.chain, parts) if parts else ""


def _of_takes(state: TakesState) -> PaperPart | None:
    now, heard = state.compared, state.heard
    if heard is None or isinstance(now, str):
        return None
    hz, gain, half = now.measured_at()
    curves = [
        PaperCurve("predicted", _GRID, gain_by_stage(state.chain, _GRID)),
        PaperCurve("takes, slid to that level", hz, gain, half),
    ]
    title = "Invented takes: an example, not yours" if heard.invented else "Takes"
    return PaperPart(title, [say.verdict(heard, now), *say.advice(heard, now)], curves, numbers(heard, now))


def _of_sweep(state: TakesState, by_sweep: SweepMeasure) -> PaperPart | None:
    now, take = by_sweep.compared, state.swept
    if take is None or isinstance(now, str):
        return None
    curves = [
        PaperCurve("predicted", now.hz, now.predicted_db), PaperCurve("sweep", now.hz, now.gain_db, now.half_db)
    ]
    return PaperPart("Sweep", [sweep_verdict(take, now)], curves, by_sweep.fitted() + sweep_tables(take, now))
