"""The bare pickup and the chain with its stage over frequency: two curves, what they sound like, and their numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.kit import sentences as say
from piezolab.pages.kit.blocks import table
from piezolab.pages.kit.bode import Curve, figure
from piezolab.pages.kit.curve_names import Named
from piezolab.pages.kit.skeleton import View
from piezolab.pages.kit.worth_words import thin_sentences
from piezolab.pitch import Note, parse_tuning
from piezolab.quantity import decibels, show
from piezolab.studies.bias import Bias, bias
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.loading import Loading, loading
from piezolab.studies.output import Impedances, impedances
from piezolab.studies.response import FREQUENCY, Response, response

_ENOUGH = "a few times the output impedance"


@dataclass(frozen=True)
class BassFigures:
    """What the studies say about one chain; `staged` and `at_rest` are None with no stage.

    grid: Hz, with the strings' frequencies among its points.
    """

    chain: SignalChain
    notes: tuple[Note, ...]
    loading: Loading
    bare: Response
    staged: Response | None
    at_rest: Bias | None

    @property
    def staged_or_bare(self) -> Response:
        """The chain as it is."""
        return self.bare if self.staged is None else self.staged


def found(chain: SignalChain) -> BassFigures:
    """Ask the studies, which keep their answers."""
    notes = parse_tuning(chain.tuning)
    grid = np.union1d(FREQUENCY, [note.frequency_hz for note in notes])
    bare = response(chain.but(stage="direct"), grid)
    powered = chain.topology.powered
    return BassFigures(
        chain, notes, loading(chain), bare, response(chain, grid) if powered else None, bias(chain) if powered else None
    )


# -- what moves with a slider -----------------------------------------------------------------------------------
def words(chain: SignalChain) -> tuple[str, list[str]]:
    """Verdict and advice."""
    judged = judgement(chain)
    verdict = f"{say.bare_sentence(judged)} {say.stage_sentence(judged)}"
    return verdict, [*thin_sentences(judged.thin), *say.advice(chain, found(chain).loading)]


def short(chain: SignalChain) -> str:
    """The verdict where there is little room: what the stage makes of it, or without one what the bare pickup loses."""
    judged = judgement(chain)
    return say.stage_sentence(judged, net=False) if chain.topology.powered else say.bare_sentence(judged)


def view(chain: SignalChain, kept: SignalChain | None, phase: bool, beside: Sequence[Named] = ()) -> View:
    """The curves of a chain; beside: what else is named among them."""
    now = found(chain)
    curves = [_curve("bare pickup", now.bare, now.notes, "bare")]
    short = chain.topology.title.partition(" (")[0]  # on the plot; the table has the whole of it
    name = f"with {short}" if now.staged else "no stage"
    curves.append(_curve(name, now.staged_or_bare, now.notes, "stage"))
    if kept is not None:
        held = found(kept)
        curves.append(_curve("kept", held.staged_or_bare, held.notes, "kept"))
    gain = any(one is not None and one.topology.inverts for one in (chain, kept))
    traces, layout, narrow = figure(curves, now.notes, phase="always" if phase else "wide", gain=gain, beside=beside)
    return View(traces, layout, narrow, f"Level and phase against frequency, {len(curves)} curves.")


def _curve(name: str, of: Response, notes: tuple[Note, ...], look: str) -> Curve:
    marks = np.array([note.frequency_hz for note in notes])
    level = of.gain_db
    return Curve(name, of.frequency, level, of.phase_deg, look, marks, level[np.searchsorted(of.frequency, marks)])


# -- what is looked at when the hand rests ----------------------------------------------------------------------
def numbers(chain: SignalChain) -> str:
    """The table: the bare pickup beside the chain as it is."""
    now = found(chain)
    bare_ends, ends = impedances(chain.but(stage="direct")), impedances(chain)
    load, whole = now.loading, now.staged_or_bare
    rows = [
        ("corner frequency (3 dB under the full level)", _hz(load.corner_hz), _hz(whole.low_corner_hz)),
        ("full level, against the unloaded pickup", _db(load.plateau_db), _db(_level(whole.midband_gain))),
    ]
    for note in sorted({n.frequency_hz: n for n in now.notes}.values(), key=lambda n: n.frequency_hz):
        at = int(np.searchsorted(whole.frequency, note.frequency_hz))
        rows.append((
            f"{note.display} ({note.frequency_hz:.1f} Hz), against the full level",
            _db(_against(_level(load.bare.gain(note.frequency_hz)), load.plateau_db)),
            _db(_against(whole.gain_db[at], _level(whole.midband_gain))),
        ))  # fmt: skip
    rows += [
        ("lowest string, against the unloaded pickup", _db(load.low_note_re_open_db), _db(_level(whole.low_note_gain))),
        ("least input resistance for 1 dB loss there", _least(load.min_input_ohm_1db), _ENOUGH),
        ("least input resistance for 3 dB loss there", _least(load.min_input_ohm_3db), _ENOUGH),
        ("output impedance at 1 kHz", _ohm(abs(bare_ends.output)), _ohm(abs(ends.output))),
        ("what the pickup sees at 1 kHz", _seen(bare_ends), _seen(ends)),
    ]
    if now.staged is None:
        return table(("", "bare pickup"), [row[:2] for row in rows], typical(chain))
    return table(("", "bare pickup", f"with {chain.topology.title}"), rows, typical(chain))


def typical(chain: SignalChain) -> str:
    """Caption of a table whose transistor nobody has measured; "" for any other."""
    if not chain.topology.powered or chain.transistor_measured:
        return ""
    return f"With a typical {chain.type_number}, not yours: enter what you have measured under “more about the stage”."


def _level(ratio: float) -> float:
    return float(decibels(ratio))


def _against(level_db: float, full_db: float) -> float:
    """One level against another; silence stays silence."""
    return level_db - full_db if math.isfinite(level_db) else -math.inf


def _db(value: float) -> str:
    return show(value, "dB") if math.isfinite(value) else "nothing arrives" if value < 0 else "—"


def _hz(value: float) -> str:
    return say.pitch_words(value) if math.isfinite(value) else "none"


def _ohm(value: float) -> str:
    return show(float(value), "ohm")


def _least(value: float) -> str:
    return "none: the pickup's own leakage forbids it" if math.isnan(value) else show(value, "ohm")


def _seen(ends: Impedances) -> str:
    ohm, farad = float(ends.input_resistance), float(ends.input_capacitance)
    return f"{show(ohm, 'ohm')} beside {show(farad, 'F')}"
