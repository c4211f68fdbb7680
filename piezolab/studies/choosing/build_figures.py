"""The figures by which a build is judged, for thousands of builds at once, and what a maker wishes of them."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.stages import stage_named
from piezolab.chain.values import Values
from piezolab.quantity import decibels
from piezolab.studies.hiss import noise_of
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import builds
from piezolab.studies.response import AUDIO, low_note_hz
from piezolab.studies.swing import swing

_MIDBAND = np.geomspace(*AUDIO, 13)  # Hz; a chain of RC corners has no peak that falls between
_NOISE = np.geomspace(*AUDIO, 31)  # Hz; the A-weighted integral is then right to 0.001 dB


@dataclass(frozen=True)
class Wishes:
    """What is wished; None: no wish. All in dB but the current.

    low_note_db: most that the lowest string may lose against the mid-band (a positive number); headroom_db: least
    headroom over hard playing; gain_db: least gain at 1 kHz, open circuit to input; snr_db_a: least signal over
    A-weighted noise; current_a: most supply current; works: saturation and a quiet gate from a fresh battery to a
    spent one.
    """

    low_note_db: float | None = 1.0
    headroom_db: float | None = 0.0
    gain_db: float | None = -3.0
    snr_db_a: float | None = None
    current_a: float | None = None
    works: bool = True


@dataclass(frozen=True)
class BuildFigures:
    """Figures of builds, each of the batch's shape; dB, A. low_note_db: the lowest string against the mid-band, not
    above 0; headroom_db: the nearer clip edge of stage or input over `play_v`; snr_db_a is nan where it was not asked
    for."""

    low_note_db: np.ndarray
    headroom_db: np.ndarray
    gain_db: np.ndarray
    snr_db_a: np.ndarray
    current_a: np.ndarray
    works: np.ndarray

    def take(self, index: np.ndarray) -> BuildFigures:
        """Some of the builds of a batch of one axis."""
        return BuildFigures(**{field.name: getattr(self, field.name)[index] for field in fields(self)})


def build_figures(values: Values, low_note_hz: float, *, with_noise: bool = True) -> BuildFigures:
    """Figures of a batch of builds (one axis, or none); low_note_hz: the lowest string, Hz."""
    linear = LinearChain.of(values)
    stage = stage_named(values.stage)
    level = np.abs(linear.gain(np.concatenate([_MIDBAND, [1000.0, low_note_hz]])))
    at_1khz, note = level[..., -2], level[..., -1]
    midband = np.maximum(level.max(axis=-1), 1e-30)
    with np.errstate(divide="ignore"):
        ceiling = values.input_max / at_1khz
    edge = np.minimum(swing(linear).headroom, ceiling) if stage.powered else ceiling
    shape = np.shape(at_1khz)
    current, works = _at_rest(values, linear) if stage.powered else (0.0, True)
    snr = noise_of(values, _NOISE).snr_db_a if with_noise else np.nan
    found = (
        decibels(np.minimum(note / midband, 1.0)),
        decibels(edge / values.play_v),
        decibels(at_1khz),
        snr,
        current,
        works,
    )
    return BuildFigures(*(np.broadcast_to(np.asarray(each), shape) for each in found))


@kept(4)
def chain_figures(chain: SignalChain, *, with_noise: bool = True) -> BuildFigures:
    """Figures of the chain with its typical or measured parts."""
    return build_figures(chain.values, low_note_hz(chain), with_noise=with_noise)


@kept(4)
def type_figures(chain: SignalChain, size: int) -> BuildFigures:
    """Figures without noise of builds of the chain with parts of its type, shape (size,)."""
    return build_figures(builds(chain, size), low_note_hz(chain), with_noise=False)


def _at_rest(values: Values, linear: LinearChain) -> tuple[np.ndarray, np.ndarray]:
    """Supply current at the chain's voltage, and whether the stage works from a fresh battery to a spent one."""
    current = -linear.point.branch_currents["B1"] + values.other_current
    supplies = [values.supply_v]
    if values.supply != "adapter":
        kind = catalogue.batteries()[values.supply]
        scale = np.where(values.supply_v > kind.fresh_v, values.supply_v / kind.nominal_v, 1.0)
        supplies += [(kind.fresh_v * scale)[()], (kind.end_v * scale)[()]]
    works: np.ndarray | bool = True
    for supply_v in supplies:
        there = LinearChain.of(values.but(supply_v=supply_v))
        works = works & there.saturated & ~there.gate_conducts
    return current, np.asarray(works)


def margins(figures: BuildFigures, wishes: Wishes) -> dict[str, np.ndarray]:
    """How far each wish is over-fulfilled, dB (negative: it fails), by the wish's name; `works` is +inf or -inf."""
    found: dict[str, np.ndarray] = {}
    if wishes.works:
        found["works"] = np.where(figures.works, np.inf, -np.inf)
    if wishes.low_note_db is not None:
        found["low_note_db"] = figures.low_note_db + wishes.low_note_db
    for name in ("headroom_db", "gain_db", "snr_db_a"):
        if getattr(wishes, name) is not None:
            found[name] = getattr(figures, name) - getattr(wishes, name)
    if wishes.current_a is not None:
        with np.errstate(divide="ignore"):
            found["current_a"] = -decibels(figures.current_a / wishes.current_a)
    return found
