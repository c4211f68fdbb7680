"""The figures by which a build is judged against a wish, for thousands of builds at once.

`build_figures` is quick: mid-band from a coarse grid, the input's ceiling taken straight. `whole_figures` takes
the same roads as the judgement of one chain, for the builds that a search will name.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.stages import stage_named
from piezolab.chain.values import Values
from piezolab.circuit.load_line import LoadLine
from piezolab.quantity import decibels
from piezolab.studies.hiss import noise_of
from piezolab.studies.judging.bass_and_level import sound_of
from piezolab.studies.judging.wish import BuildFigures
from piezolab.studies.kept import kept
from piezolab.studies.levels import FAR_V, levels_of
from piezolab.studies.linear import LINE_HZ, LinearChain
from piezolab.studies.plugging import plugging_of
from piezolab.studies.population import builds
from piezolab.studies.response import AUDIO, low_note_hz
from piezolab.studies.swing import swing

_MIDBAND = np.geomspace(*AUDIO, 13)  # Hz; a chain of RC corners has no peak that falls between
_NARROWINGS, _NEAR = 8, 1e-9  # at most; a voltage as near to the ceiling as this is there
_NOISE = np.geomspace(*AUDIO, 31)  # Hz; the A-weighted integral is then right to 0.001 dB


def build_figures(
    values: Values,
    low_note_hz: float,
    *,
    with_noise: bool = True,
    at_this_voltage: bool = False,
    peak_hz: float | None = None,
) -> BuildFigures:
    """Figures of a batch of builds (one axis, or none); low_note_hz: the lowest string, Hz; at_this_voltage: whether
    it works is asked at this supply voltage alone, and not over the battery's life; peak_hz: where the mid-band is
    largest, where that is known: the input's ceiling is then taken along the load line, too."""
    linear = LinearChain.of(values)
    middle = _MIDBAND if peak_hz is None else np.array([peak_hz])
    level = np.abs(linear.gain(np.concatenate([middle, [1000.0, low_note_hz]])))
    at_1khz, note = level[..., -2], level[..., -1]
    midband = np.maximum(level.max(axis=-1), 1e-30)
    with np.errstate(divide="ignore"):
        edge = values.input_max / at_1khz if peak_hz is None else _edge(values, linear)
        if peak_hz is None and linear.assembly.transistors:
            edge = np.minimum(swing(linear).headroom, edge)
    snr = noise_of(values, _NOISE).snr_db_a if with_noise else np.nan
    found = (decibels(np.minimum(note / midband, 1.0)), decibels(edge / values.play_v), decibels(at_1khz))
    return _together(values, linear, found, snr, np.shape(at_1khz), at_this_voltage)


def whole_figures(values: Values, low_note_hz: float, *, with_noise: bool = True) -> BuildFigures:
    """The same figures as the judgement of each build has them."""
    linear = LinearChain.of(values)
    sound = sound_of(values, low_note_hz, linear)
    snr = noise_of(values).snr_db_a if with_noise else np.nan
    found = (np.minimum(sound.balance_db, 0.0), room_of(values, linear), sound.at_1khz_db)
    return _together(values, linear, found, snr, np.shape(sound.at_1khz_db))


def room_of(values: Values, linear: LinearChain | None = None) -> np.ndarray:
    """Headroom of each build over hard playing by itself, dB, as `whole_figures` has it."""
    with np.errstate(divide="ignore"):
        return decibels(_edge(values, linear or LinearChain.of(values)) / np.asarray(values.play_v, float))


def _edge(values: Values, linear: LinearChain) -> np.ndarray:
    """The nearest clip edge of stage and input as `levels` has it, V, with less work for many builds: the input's
    ceiling by false position along the load line. With no stage that line is straight."""
    if not linear.assembly.transistors:
        return levels_of(values, linear=linear).clip_input_v_peak
    stage, line = swing(linear), linear.load_line
    edge = np.stack([np.broadcast_to(side, line.shape) for side in (stage.up, stage.down)], axis=-1)
    ceiling = np.broadcast_to(np.asarray(values.input_max, float)[..., None], edge.shape)
    low, high = np.zeros(edge.shape), np.minimum(edge, FAR_V)
    f_low, f_high = -ceiling, _over(line, high, ceiling)
    reached, moved = f_high >= 0, np.zeros(edge.shape, int)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = np.minimum(ceiling / np.abs(linear.gain(LINE_HZ))[..., None], high)  # were the line straight
        for _ in range(_NARROWINGS if reached.any() else 0):
            f = _over(line, x, ceiling)
            if np.all(~reached | (np.abs(f) <= _NEAR * ceiling)):
                break
            # an end that stays twice counts half (the Illinois rule), so that neither stays for ever
            f_low = np.where((f >= 0) & (moved == 1), f_low / 2, f_low)
            f_high = np.where((f < 0) & (moved == -1), f_high / 2, f_high)
            low, f_low = np.where(f < 0, x, low), np.where(f < 0, f, f_low)
            high, f_high = np.where(f < 0, high, x), np.where(f < 0, f_high, f)
            moved = np.where(f < 0, -1, 1)
            x = np.where(f_high > f_low, (low * f_high - high * f_low) / (f_high - f_low), high)
    return np.where(reached, x, edge).min(axis=-1)


def _over(line: LoadLine, e: np.ndarray, ceiling: np.ndarray) -> np.ndarray:
    """By how much the load's voltage exceeds the ceiling at pickup voltages up and down by e, V, batch + (2,)."""
    return np.abs(line.at(e * np.array([1.0, -1.0]))[1]) - ceiling


def _together(
    values: Values,
    linear: LinearChain,
    found: tuple[np.ndarray, ...],
    snr: Any,
    shape: tuple[int, ...],
    at_this_voltage: bool = False,
) -> BuildFigures:
    """Those figures with what plugging in does, hiss, current, and whether it works."""
    plug, current, works = (0.0, 0.0, 0.0), 0.0, True
    if stage_named(values.stage).powered:
        there = plugging_of(values, linear)
        plug = (np.abs(there.step_v), there.settle_s, np.abs(there.dc_v))
        current = -linear.point.branch_currents["B1"] + values.other_current
        works = linear.works if at_this_voltage else _works(values, linear)
    every = (*found, *plug, snr, current, works, np.nan, np.nan, np.nan)
    return BuildFigures(*(np.broadcast_to(np.asarray(each), shape) for each in every))


@kept(4)
def type_figures(chain: SignalChain, size: int) -> BuildFigures:
    """Figures without noise of builds of the chain with parts of its type, shape (size,)."""
    return build_figures(builds(chain, size), low_note_hz(chain), with_noise=False)


def _works(values: Values, linear: LinearChain) -> np.ndarray:
    """Whether the stage works from a fresh battery to a spent one, and at the chain's own voltage."""
    supplies = []
    if values.supply != "adapter":
        kind = catalogue.batteries()[values.supply]
        scale = np.where(values.supply_v > kind.fresh_v, values.supply_v / kind.nominal_v, 1.0)
        supplies = [(kind.fresh_v * scale)[()], (kind.end_v * scale)[()]]
    works = linear.works
    for supply_v in supplies:
        works = works & LinearChain.of(values.but(supply_v=supply_v)).works
    return np.asarray(works)
