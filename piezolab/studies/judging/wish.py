"""What a maker wishes of a chain: one object with the same limits wherever something is searched, judged or offered.

The limits are our own (common practice, no source) and editable; those of plugging in are the judgement's. How well a
wish is met is counted in dB for each figure, and one order follows from that for every search.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

import numpy as np

from piezolab.quantity import decibels
from piezolab.studies.judging.judgement import DC_V, SETTLE_S, STEP_V, Judgement
from piezolab.studies.judging.outlay import PiecePrices, outlay
from piezolab.studies.judging.thin import THIN_DB

ENOUGH_DB = 6.0  # more than this over a wish counts no further
STEP_DB = 0.5  # what differs by less counts as alike, and brings no benefit
# What a transistor draws at rest where a search is free to choose, A. Less and the hiss rises and a long cable dulls
# the top; more and a 9 V block is empty in three weeks of playing; common practice, no source.
REST_A = (100e-6, 1e-3)
_SPARE = ("headroom_db", "gain_db", "snr_db_a", "current_a")  # wishes of which more than enough is still better


@dataclass(frozen=True)
class Wish:
    """What is wished; None: no wish.

    low_note_db: most that the lowest string may lose against the mid-band, dB (a positive number); headroom_db: least
    headroom over hard playing, dB; gain_db: least gain at 1 kHz, open circuit to input, dB; step_v, settle_s, dc_v:
    most on plugging in, until that has settled, and that stays on the jack, V, s, V; snr_db_a: least signal over
    A-weighted noise, dB; current_a: most supply current, A; works: saturation and a quiet gate from a fresh battery to
    a spent one; life_h: least hours that the battery serves; parts, cost: most pieces of the stage, and most that they
    cost, at these prices or the invented ones (`outlay`).
    """

    low_note_db: float | None = THIN_DB
    headroom_db: float | None = 0.0
    gain_db: float | None = -3.0
    step_v: float | None = STEP_V
    settle_s: float | None = SETTLE_S
    dc_v: float | None = DC_V
    snr_db_a: float | None = None
    current_a: float | None = None
    works: bool = True
    life_h: float | None = None
    parts: float | None = None
    cost: float | None = None
    prices: PiecePrices | None = None


@dataclass(frozen=True)
class BuildFigures:
    """Figures of builds, each of the batch's shape; dB, V, s, A. low_note_db: the lowest string against the mid-band,
    not above 0; headroom_db: the nearer clip edge of stage or input over `play_v`; step_v, dc_v: magnitudes; snr_db_a,
    life_h (inf without a battery), parts and cost are nan where they were not asked for."""

    low_note_db: np.ndarray
    headroom_db: np.ndarray
    gain_db: np.ndarray
    step_v: np.ndarray
    settle_s: np.ndarray
    dc_v: np.ndarray
    snr_db_a: np.ndarray
    current_a: np.ndarray
    works: np.ndarray
    life_h: np.ndarray = field(default_factory=lambda: np.asarray(np.nan))
    parts: np.ndarray = field(default_factory=lambda: np.asarray(np.nan))
    cost: np.ndarray = field(default_factory=lambda: np.asarray(np.nan))

    def take(self, index: np.ndarray) -> BuildFigures:
        """Some of the builds of a batch of one axis."""
        every = {field.name: np.asarray(getattr(self, field.name)) for field in fields(self)}
        return BuildFigures(**{name: each[index] if each.ndim else each for name, each in every.items()})


def judged_figures(judged: Judgement, wish: Wish | None = None, *, with_noise: bool = False) -> BuildFigures:
    """A chain's figures as the judgement has them, numbers: with a wish, all that it asks for."""
    wish = wish or Wish()
    with_noise = with_noise or wish.snr_db_a is not None
    plug, working = judged.plug, judged.working
    found = (
        np.minimum(judged.sound.balance_db, 0.0),
        judged.edges.headroom_db,
        judged.sound.at_1khz_db,
        *((0.0, 0.0, 0.0) if plug is None else (abs(plug.step_v), plug.settle_s, abs(plug.dc_v))),
        -judged.loudness.hiss_db if with_noise else np.nan,
        0.0 if working is None else working.at_rest.supply_current,
        working is None or working.life,
        *_further(judged, wish),
    )
    return BuildFigures(*(np.asarray(each) for each in found))


def _further(judged: Judgement, wish: Wish) -> tuple[float, float, float]:
    """Hours, pieces and cost as far as they are asked for."""
    hours = np.nan
    if wish.life_h is not None:
        hours = np.inf if judged.life is None else judged.life.hours
    asked = wish.parts is not None or wish.cost is not None
    return hours, *(outlay(judged.chain, wish.prices) if asked else (np.nan, np.nan))


def margins(figures: BuildFigures, wish: Wish) -> dict[str, np.ndarray]:
    """How far each wish is over-fulfilled, dB (negative: it fails), by the wish's name; `works` is +inf or -inf."""
    found: dict[str, np.ndarray] = {}
    if wish.works:
        found["works"] = np.where(figures.works, np.inf, -np.inf)
    if wish.low_note_db is not None:
        found["low_note_db"] = figures.low_note_db + wish.low_note_db
    for name in ("headroom_db", "gain_db", "snr_db_a"):
        if getattr(wish, name) is not None:
            found[name] = getattr(figures, name) - getattr(wish, name)
    if wish.life_h is not None:
        with np.errstate(divide="ignore"):
            found["life_h"] = decibels(figures.life_h / wish.life_h)
    for name in ("step_v", "settle_s", "dc_v", "current_a", "parts", "cost"):
        if getattr(wish, name) is not None:
            with np.errstate(divide="ignore"):
                found[name] = -decibels(getattr(figures, name) / getattr(wish, name))
    return found


def missed(figures: BuildFigures, wish: Wish) -> tuple[str, ...]:
    """The wishes that one build misses, the worst first."""
    own = {name: float(margin) for name, margin in margins(figures, wish).items()}
    return tuple(sorted((name for name, margin in own.items() if not margin >= 0), key=own.__getitem__))


def standing(each: Mapping[str, np.ndarray], shape: tuple[int, ...] = ()) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What builds are compared by, from their margins; less is better, the first counts most.

    Wishes missed, all of them where it does not work; how far the worst is missed, in steps of STEP_DB; and, negative,
    the room to spare in dB: what exceeds room, gain, quiet and current, each counted up to ENOUGH_DB. Each of the given
    shape.
    """
    if not each:
        return np.zeros(shape, int), np.zeros(shape), np.zeros(shape)
    table = np.stack([np.broadcast_to(np.nan_to_num(margin, nan=-np.inf), shape) for margin in each.values()])
    miss = np.round(-np.clip(table.min(axis=0), -200.0, 0.0) / STEP_DB)
    spare = [np.clip(row, -200.0, ENOUGH_DB) for name, row in zip(each, table, strict=True) if name in _SPARE]
    idle = np.broadcast_to(each.get("works", np.inf), shape) < 0
    fails = np.where(idle, len(table), np.sum(table < 0, axis=0))
    return fails, miss, -np.sum(spare, axis=0) if spare else np.zeros(shape)


def no_worse(after: Mapping[str, np.ndarray], before: Mapping[str, np.ndarray]) -> bool:
    """Whether one build serves the same wish at least as well as another: as few missed, and the worst no worse."""
    (fails, miss, _), (had, had_miss, _) = standing(after), standing(before)
    return bool((fails, miss) <= (had, had_miss))


def benefits(after: Mapping[str, np.ndarray], before: Mapping[str, np.ndarray]) -> tuple[str, ...]:
    """What one build does better than another for the same wish: wishes met, missed by STEP_DB less, or with so much
    more to spare; nothing where it serves the wish worse on the whole."""
    return tuple(name for name in after if _counted(name, after) - _counted(name, before) >= STEP_DB - 1e-9) * no_worse(
        after, before
    )


def costs(after: Mapping[str, np.ndarray], before: Mapping[str, np.ndarray]) -> tuple[str, ...]:
    """Wishes that one build misses and another meets, or misses by STEP_DB less."""
    return tuple(
        name for name in after
        if _counted(name, after) < 0 and _counted(name, before) - min(_counted(name, after), 0.0) >= STEP_DB - 1e-9
    )  # fmt: skip


def _counted(name: str, each: Mapping[str, np.ndarray]) -> float:
    """A margin as far as it counts, dB."""
    return float(np.clip(np.nan_to_num(each[name], nan=-np.inf), -200.0, ENOUGH_DB if name in _SPARE else 0.0))
