"""Figures of a chain in words, as lessons name them."""

from __future__ import annotations

from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.lessons.lesson import KINDS_OF_STAGE, STAGE_KIND, Goal, unit_of
from piezolab.quantity import show

#: Figures that lessons use often, in words; another one is shown under its own name.
FIGURES = {
    "hum.relative_db": "hum against hard playing",
    "hum.to_the_ear_db": "hum to the ear, against hard playing,",
    "noise.snr_db_a": "playing over hiss",
    "loading.corner_hz": "the note that loses 3 dB",
    "loading.plateau_db": "the full level",
    "loading.min_input_ohm_3db": "least input for 3 dB loss",
    "loading.low_note_re_plateau_db": "the bare pickup's lowest string against its full level",
    "loading.low_note_re_open_db": "the bare pickup's lowest string",
    "response.low_note_re_midband_db": "the lowest string against the middle",
    "response.midband_gain_db": "the level in the middle",
    "levels.input_headroom_db": "room before clipping",
    "bias.v_s_v": "the source voltage",
    "bias.v_ds_v": "between drain and source",
    "bias.i_d_a": "the current",
    "bias.region": "where the transistor works",
    "bias.gate": "the gate",
    "battery.life_h": "battery life",
    STAGE_KIND: "the kind of stage",
}


def name_of(path: str) -> str:
    """A figure's name: a control by its own label."""
    setting = _setting(path)
    return f"“{setting.label}”" if setting else FIGURES.get(path, path)


def figure_words(path: str, value: Any) -> str:
    """A figure's value with its unit, a control's in its own words."""
    setting = _setting(path)
    if setting is not None:
        try:
            return setting.show(setting.read(value) if isinstance(value, str) else value)
        except ParameterError:
            return str(value)
    if value is None:
        return "not there"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return KINDS_OF_STAGE.get(value, str(value)) if path == STAGE_KIND else str(value)
    return show(float(value), unit_of(path))


def goal_words(goal: Goal, value: Any) -> str:
    """What a goal asks for and what there is."""
    want = "" if goal.compare == "is" else f"{goal.compare} "
    there, wanted = (figure_words(goal.figure, which) for which in (value, goal.value))
    return f"{name_of(goal.figure)} is {there} and should be {want}{wanted}"


def moved_words(keys: tuple[str, ...]) -> str:
    """“You have moved the cable”: the controls by their labels, at most three of them."""
    labels = [all_parameters()[key].label for key in keys]
    named = ", ".join(labels[:3]) + (" and more" if len(labels) > 3 else "")
    return f"You have moved {named}."


def moved(chain: SignalChain, base: SignalChain, free: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Keys in which a chain differs from another, without those that may: what was entered in one and not in the other
    with the same value. Only that counts which was set, not what follows from it."""
    keys = dict.fromkeys((*base.entered, *chain.entered))
    return tuple(key for key in keys if key not in free and chain[key] != base[key])


def _setting(path: str) -> Any:
    return all_parameters().get(path.removeprefix("chain.")) if path.startswith("chain.") else None
