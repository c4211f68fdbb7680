"""Measure with a sweep: the file to play, how to wire it, the recording, what it says, and one click into the chain."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from ipywidgets import VBox

from piezolab.audio import AudioError
from piezolab.audio.exponential_sweep import ExponentialSweep, tone
from piezolab.audio.processing import wav
from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.fields import parse_field
from piezolab.pages.did_it_do_what_was_predicted import sweep_words as say
from piezolab.pages.did_it_do_what_was_predicted.sound_input import SweepInput
from piezolab.pages.did_it_do_what_was_predicted.takes_state import TakesState
from piezolab.pages.kit.blocks import Block, Buttons, bullets, guard, paragraphs
from piezolab.pages.kit.bode import Curve, figure
from piezolab.pages.kit.file_buttons import FileButtons
from piezolab.pages.kit.form import Field, FieldError, Form
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.piece import text_in
from piezolab.pages.kit.sections import FoldedParts, PlotSection, Section
from piezolab.pages.kit.ways import onward
from piezolab.pitch import parse_tuning
from piezolab.quantity import QuantityError
from piezolab.studies.board_as_built import read_build
from piezolab.studies.faults.readings import SWEPT
from piezolab.studies.recordings.chain_fits import ChainFit, chain_fit
from piezolab.studies.recordings.sweep_against import SetUp, SweepCompared, sweep_compared
from piezolab.studies.recordings.sweep_figures import sweep_csv, sweep_figures
from piezolab.studies.recordings.sweep_reading import fault_readings

MOST_V = 100.0
MOST_KEPT = 20  # readings that the fault finder takes
FIELDS = (
    Field("capacitor", "capacitor in the disc's place", "F", "", "As a meter shows it. Empty: nobody measured it."),
    Field("alike", "both inputs have the same gain", tick=True, hint="Then the level counts, not the shape alone."),
    Field("tone", "meter's reading of the tone", "V", "", "AC volts at the stage's output. Empty: no volts claimed."),
    Field("transistor", "fit the transistor's V_GS(off), too", tick=True),
)

KINDS = [
    ["sweep", "save the sweep (WAV)"], ["tone", "save the tone for the meter (WAV)"],
    ["csv", "save the response (CSV)"], ["json", "save the sweep's figures (JSON)"],
]  # fmt: skip


class SweepDownload(FileButtons):
    """Buttons for the two files to play, and for what was found; each is made when it is pressed."""

    def __init__(self, measure: SweepMeasure) -> None:
        super().__init__(kinds=KINDS)
        self._measure = measure

    def _save(self, content: dict[str, Any]) -> None:
        kind = text_in(content, "kind", 10)
        if kind == "sweep":
            self.send({"file": "piezolab-sweep.wav", "type": "audio/wav"}, buffers=[wav(ExponentialSweep().played())])
        elif kind == "tone":
            self.send({"file": "piezolab-tone.wav", "type": "audio/wav"}, buffers=[wav(tone())])
        elif kind in ("csv", "json"):
            self._save_found(kind)

    def _save_found(self, kind: str) -> None:
        state, now = self._measure.state, self._measure.compared
        if isinstance(now, str):
            self.send({"trouble": now})
        elif kind == "csv":
            self.send({"file": "piezolab-sweep.csv", "type": "text/csv"}, buffers=[sweep_csv(now).encode()])
        else:
            figures = sweep_figures(state.swept, now, state.chain, self._measure.fit, state.set_up)
            text = json.dumps(figures, indent=1, allow_nan=False)
            self.send({"file": "piezolab-sweep.json", "type": "application/json"}, buffers=[text.encode()])


class SweepMeasure(VBox):
    """See the module."""

    def __init__(self, state: TakesState) -> None:
        self.state = state
        self._worked: tuple[object, SweepCompared | str, ChainFit | None] | None = None
        self._transistor = False
        self.downloads, self.brought = SweepDownload(self), SweepInput(state)
        self.form = Form("How it was wired", FIELDS, "use it", self._asked)
        follows = ("settled", "swept", "set_up")
        self.result = Section(state, "sweep-result", "What the sweep says", self._result, follows=follows)
        self.plot = PlotSection(state, "Level and phase", self._draw, 470)
        self.into = Buttons("result of the sweep", {"use": self._use, "fault": self._carry})
        self.carried, self._keepsake, self._known = Block("carried"), None, {}
        self._wanted = False  # whether the fault finder may ask for a sweep
        about = guard(say.CARE) + bullets(say.WIRING)
        self.numbers = Section(state, "sweep-numbers", "The sweep's numbers", self._tables, True, follows)
        found = [self.result, self.into, self.carried, self.plot, self.numbers]
        inside = [self.downloads, self.brought, self.form, *found]
        self.fold = FoldedParts("Measure with a sweep", inside, about)
        super().__init__([self.fold])
        state.observe(lambda _: self.plot.refresh(), ["swept", "set_up"])
        state.observe(lambda _: setattr(self.form, "said", ""), "swept")
        state.observe(lambda _: self._offer(), list(follows))
        self._offer()

    @property
    def compared(self) -> SweepCompared | str:
        """The sweep against the chain, or the sentence why there is nothing."""
        return self._work()[0]

    @property
    def fit(self) -> ChainFit | None:
        """What the sweep says of unknown values; None without a sweep."""
        return self._work()[1]

    def _work(self) -> tuple[SweepCompared | str, ChainFit | None]:
        state = self.state
        asked = (state.swept, state.set_up, state.chain, self._transistor)
        if self._worked is None or self._worked[0] != asked:
            self._worked = (asked, *self._worked_out())
        return self._worked[1:]

    def _worked_out(self) -> tuple[SweepCompared | str, ChainFit | None]:
        take, chain, set_up = self.state.swept, self.state.chain, self.state.set_up
        if take is None:
            return say.NOTHING, None
        keys = [*(["pickup_c"] if set_up.capacitor is None else []), "gate_r"]
        try:
            now = sweep_compared(take, chain, set_up)
            return now, chain_fit(take, chain, set_up, [*keys, *(["jfet_vgsoff"] if self._transistor else [])])
        except AudioError as error:
            return str(error), None

    def _result(self, _chain: SignalChain) -> str:
        now = self.compared
        if isinstance(now, str):
            return "" if self.state.swept is None else paragraphs(now)
        return paragraphs(say.sweep_verdict(self.state.swept, now)) + self.fitted()

    def fitted(self) -> str:
        """What the sweep says of unknown values, as HTML."""
        return "" if self.fit is None else say.fit_words(self.fit)

    def _tables(self, _chain: SignalChain) -> str:
        now = self.compared
        return "" if isinstance(now, str) else say.sweep_tables(self.state.swept, now)

    def _draw(self, chain: SignalChain, _kept: SignalChain | None) -> tuple[Any, Any, Any, str]:
        now = self.compared
        if isinstance(now, str):
            return (), {}, {}, now
        curves = [
            Curve("predicted", now.hz, now.predicted_db, now.predicted_deg, "stage"),
            Curve("measured", now.hz, now.gain_db, now.phase_deg, "bare"),
        ]
        traces, layout, narrow = figure(curves, parse_tuning(chain.tuning), gain=now.gain_db.max() > 10)
        return traces, layout, narrow, "Level and phase over frequency: predicted, and measured with the sweep."

    def _asked(self, texts: Mapping[str, str]) -> str:
        capacitor = _number(texts["capacitor"], "capacitor", "F", *_ends("pickup_c"))
        tone_v = _number(texts["tone"], "tone", "V", 1e-3, MOST_V)
        self._transistor = texts["transistor"] == "yes"
        set_up = SetUp(capacitor, texts["alike"] == "yes", tone_v)
        if set_up == self.state.set_up:  # the transistor alone
            self.result.refresh()
            self._offer()
        self.state.set_up = set_up
        return "" if self.state.swept is not None else say.NOTED

    def _offer(self) -> None:
        self.into.show([])
        self.carried.content = ""
        if self.state.swept is not None:
            self.state.at_rest.put((self, "offer"), self._show_offer)

    def _show_offer(self) -> None:
        fit = self.fit
        buttons = []
        if fit is not None and fit.usable and fit.differs(self.state.chain):
            names = " and ".join(all_parameters()[key].label for key in fit.usable)
            buttons.append({"word": "use", "label": f"put it into the chain: {names}"})
        if self.fault_texts():
            buttons.append({"word": "fault", "label": say.TO_FINDER})
        self.into.show(buttons)

    def fault_texts(self) -> list[str]:
        """The sweep as readings of the fault finder, as they are kept; none where the chain explains it, unless the
        finder may have asked for one."""
        now = self.compared
        if isinstance(now, str):
            return []
        found = fault_readings(self.state.swept, now, self.state.chain, self.state.set_up, self._wanted)
        return [reading.words for reading in found]

    def kept_in(self, keepsake: Keepsake) -> None:
        """Readings of the fault finder are kept in the visitor's browser; the sweep's take their own earlier ones'
        place there. So is whether its maker said that sweeps can be recorded."""
        self._keepsake = keepsake

        def built(texts: Mapping[str, str]) -> None:
            self._wanted = read_build(texts)[0].records
            self._offer()

        keepsake.use("build", built)
        keepsake.use("fault", lambda texts: setattr(self, "_known", dict(texts)))

    def _carry(self) -> None:
        texts = self.fault_texts()
        if self._keepsake is None or not texts:
            return
        others = [text for name, text in sorted(self._known.items()) if name.startswith("reading ")
                  and text.partition(":")[0] not in SWEPT]  # fmt: skip
        kept = {name: text for name, text in self._known.items() if not name.startswith("reading ")}
        self._known = kept | {f"reading {n:02d}": text for n, text in enumerate((texts + others)[:MOST_KEPT])}
        self._keepsake.keep("fault", self._known)
        self.carried.content = onward("where-is-the-fault", self.state.carried, say.WITH_FINDER)

    def _use(self) -> None:
        fit = self.fit
        if fit is not None and fit.usable:
            self.state.put(fit.into(self.state.chain))


def _ends(key: str) -> tuple[float, float]:
    parameter = all_parameters()[key]
    return parameter.low, parameter.high


def _number(text: str, name: str, unit: str, low: float, high: float) -> float | None:
    """What a field holds; None where it is empty. Raises FieldError."""
    if not text:
        return None
    label = next(field.label for field in FIELDS if field.name == name)
    try:
        value = parse_field(text, unit, what=label)
    except QuantityError as error:
        raise FieldError(name, str(error)) from None
    if not low <= value <= high:
        raise FieldError(name, f"{label}: {text} is not allowed; {low:g} to {high:g} {unit} is allowed.")
    return value
