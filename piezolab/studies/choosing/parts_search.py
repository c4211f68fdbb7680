"""What can be built from a drawer of parts: every sensible stage from the values at hand, ranked by the maker's wishes.

Candidates are laid out stage by stage as batches. What the operating point rules out is dropped first, so that
thousands of combinations cost little. The chain gives pickup, lead, supply, cable, input and strings; the drawer gives
the stage. Values are taken to be there as often as needed.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.studies.choosing.best_resistor import CURRENT_A
from piezolab.studies.choosing.build_figures import BuildFigures, Wishes, build_figures, margins
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

LIMIT = 12_000  # builds of one kind of stage that are looked at in full
_ENOUGH_DB = 6.0  # more than this over a wish counts no further


@dataclass(frozen=True)
class DrawerTransistor:
    """A transistor at hand: its type, and I_DSS in A at `vds` V and V_GS(off) in V if they were measured."""

    jfet: str
    idss: float | None = None
    vgsoff: float | None = None
    vds: float = 9.0
    name: str = ""

    def entered(self) -> dict[str, Any]:
        """The link keys that put it into a chain; None where the type's typical value stands."""
        measured = self.idss is not None
        return {
            "jfet": self.jfet, "jfet_idss": self.idss, "jfet_vds": self.vds if measured else None,
            "jfet_vgsoff": self.vgsoff, "jfet_lambda": None, "jfet_ciss": None, "jfet_crss": None, "jfet_ig": None,
            "jfet_corner": None,
        }  # fmt: skip


@dataclass(frozen=True)
class Drawer:
    """Parts at hand: resistors in ohm, capacitors in F, transistors."""

    resistors: tuple[float, ...] = ()
    capacitors: tuple[float, ...] = ()
    transistors: tuple[DrawerTransistor, ...] = ()


@dataclass(frozen=True)
class Build:
    """One thing to build. changes: for `chain.but`; figures: by name, numbers as in BuildFigures; margins_db: by wish;
    fails: the wishes that it misses, the worst first; transistor: its place in the drawer, None with no stage;
    frontier: no other build found is better in one figure without being worse in another."""

    kind: str
    changes: Mapping[str, Any]
    figures: Mapping[str, float]
    margins_db: Mapping[str, float]
    fails: tuple[str, ...]
    transistor: int | None
    frontier: bool


@dataclass(frozen=True)
class Search:
    """builds: the best first; tried: how many were looked at in full; never: wishes that no build meets even alone;
    missing: kinds of stage for which the drawer lacks parts, with what is lacking."""

    builds: tuple[Build, ...]
    tried: int
    never: tuple[str, ...]
    missing: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class _Kind:
    """A way to wire the stage: fixed words and, for each key, what the drawer offers for it."""

    name: str
    fixed: Mapping[str, Any]
    choices: Mapping[str, Sequence[float]]


def search(chain: SignalChain, drawer: Drawer, wishes: Wishes | None = None, best: int = 12) -> Search:
    """The best builds. Raises ChainError on a type or a value that no chain takes."""
    wishes = wishes or Wishes()
    missing: dict[str, tuple[str, ...]] = {}
    found: list[tuple[_Kind, list[dict[str, Any]], BuildFigures]] = []
    for kind in _kinds(drawer):
        lacking = [key for key, options in kind.choices.items() if not options]
        if kind.fixed["stage"] != "direct" and not drawer.transistors:
            lacking.append("jfet")
        if lacking:
            missing[kind.name] = tuple(lacking)
            continue
        builds, figures = _looked_at(chain, drawer, kind, wishes)
        found.append((kind, builds, figures))
    rows = [(kind, build) for kind, builds, _ in found for build in builds]
    figures = BuildFigures(
        *(np.concatenate([getattr(each, name) for _, _, each in found]) for name in BuildFigures.__dataclass_fields__)
    )
    each = margins(figures, wishes)
    plainness = np.repeat(np.arange(len(found)), [len(builds) for _, builds, _ in found])
    order = _ranked(each, len(rows), plainness)
    never = tuple(name for name, margin in each.items() if not np.any(margin >= 0))
    chosen = _varied(order, rows, best)
    frontier = _frontier(figures, order[: max(best, 400)])
    told = tuple(_told(rows[k], figures.take(np.array(k)), each, k, k in frontier) for k in chosen)
    return Search(told, len(rows), never, missing)


def _kinds(drawer: Drawer) -> list[_Kind]:
    """The stages that a drawer may hold. The largest gate resistors and output capacitors are enough: smaller ones lose
    bass and gain nothing; a bleed resistor is best near 100 kohm or 1 Mohm."""
    resistors, capacitors = sorted(set(drawer.resistors)), sorted(set(drawer.capacitors))
    gates = [r for r in resistors if 220e3 <= r <= 1e9][-3:]
    bleeds = sorted({min(high, key=lambda r: abs(np.log(r / ohm))) for ohm in (100e3, 1e6)
                     if (high := [r for r in resistors if 22e3 <= r <= 10e6])})  # fmt: skip
    outs = [c for c in capacitors if 10e-9 <= c <= 1e-3][-3:]
    common = {
        "gate_r": gates, "bleed_r": bleeds, "out_c": outs,
        "source_r": [r for r in resistors if 47.0 <= r <= 220e3],
    }  # fmt: skip
    dividers = [2 * r for r in resistors if 100e3 <= r <= 10e6][-2:]
    bypasses = [c for c in capacitors if 1e-6 <= c <= 10e-3][-2:]
    drains = [r for r in resistors if 220.0 <= r <= 220e3]
    ground = {"return": "ground", "gate_stop": 0.0}
    follower = {"stage": "follower", "drain_r": 0.0, "bypass_c": 0.0}
    return [
        _Kind("direct", {"stage": "direct"}, {}),
        _Kind("follower", {**follower, **ground}, common),
        _Kind(
            "follower at a divider",
            {**follower, "gate_stop": 0.0, "return": "divider", "return_part": 0.5},
            {**common, "divider_r": dividers, "divider_c": bypasses[-1:]},
        ),
        _Kind("gain", {"stage": "gain", "bypass_c": 0.0, **ground}, {**common, "drain_r": drains}),
        _Kind(
            "gain, bypassed", {"stage": "gain", "bypass_part": 1.0, **ground},
            {**common, "drain_r": drains, "bypass_c": bypasses},
        ),
    ]  # fmt: skip


def _looked_at(
    chain: SignalChain, drawer: Drawer, kind: _Kind, wishes: Wishes
) -> tuple[list[dict[str, Any]], BuildFigures]:
    """Figures of every combination of one kind that its operating point allows (of the likeliest, if none does)."""
    note, with_noise = low_note_hz(chain), wishes.snr_db_a is not None
    if kind.fixed["stage"] == "direct":
        direct = chain.but(stage="direct")
        return [{}], _at_least_1d(build_figures(direct.values, note, with_noise=with_noise))
    base = chain.but(kind.fixed)
    rest_keys = [key for key in ("source_r", "drain_r", "divider_r") if key in kind.choices]
    signal_keys = [key for key in kind.choices if key not in rest_keys]
    parts = [base.but(transistor.entered()).values for transistor in drawer.transistors]
    at_rest = list(itertools.product(range(len(parts)), *(kind.choices[key] for key in rest_keys)))
    signal = list(itertools.product(*(kind.choices[key] for key in signal_keys)))
    kept = _able(chain, base, parts, rest_keys, at_rest, max(1, LIMIT // len(signal)))
    combined = [(*at_rest[k], *values) for k in kept for values in signal]
    keys = (*rest_keys, *signal_keys)
    builds = [{"transistor": row[0], **dict(zip(keys, row[1:], strict=True))} for row in combined]
    values = _batch(base.values, parts, keys, combined)
    return builds, build_figures(values, note, with_noise=with_noise)


def _able(
    chain: SignalChain, base: SignalChain, parts: list[Values], keys: list[str], rows: list[tuple], most: int
) -> np.ndarray:
    """Which combinations stay in saturation with a quiet gate and enough current from fresh to spent; those nearest to
    it if none does."""
    values = _batch(base.values, parts, keys, rows)
    found = battery_range(base)
    supplies = [chain.supply_v, *(found[:2] if found else ())]
    room = np.full(len(rows), np.inf)
    for supply_v in supplies:
        q = LinearChain.of(values.but(supply_v=supply_v)).transistor
        spare = np.where(q.gate_conducts | (q.i_d < CURRENT_A[0]), -np.inf, q.v_ds - q.v_ds_sat)
        room = np.minimum(room, spare)
    able = np.flatnonzero(room >= 0)
    if not able.size:
        return np.argsort(-room, kind="stable")[: min(most, 20)]
    if able.size > most:  # thin evenly over the room that is left, rather than take one corner of the drawer
        able = able[np.argsort(-room[able], kind="stable")]
        able = able[np.unique(np.linspace(0, able.size - 1, most).astype(int))]
    return able


_TRANSISTOR_KEYS = (
    "jfet_idss", "jfet_vds", "jfet_vgsoff", "jfet_lambda", "jfet_ciss", "jfet_crss", "jfet_ig", "jfet_corner",
)  # fmt: skip


def _batch(base: Values, parts: list[Values], keys: Sequence[str], rows: list[tuple]) -> Values:
    """Rows of (transistor, value, value, ...) as one batch of builds."""
    table = np.array(rows, float)
    which = table[:, 0].astype(int)
    changes: dict[str, Any] = {key: table[:, 1 + n] for n, key in enumerate(keys)}
    for key in _TRANSISTOR_KEYS:
        changes[key] = np.array([part[key] for part in parts])[which]
    return base.but(**changes)


def _at_least_1d(figures: BuildFigures) -> BuildFigures:
    return BuildFigures(**{key: np.atleast_1d(value) for key, value in vars(figures).items()})


def _ranked(each: Mapping[str, np.ndarray], size: int, plainness: np.ndarray) -> np.ndarray:
    """Best first: fewest wishes missed, then by how little the worst is missed in steps of half a decibel, then the
    plainest stage, then by the room to spare."""
    if not each:
        return np.argsort(plainness, kind="stable")
    table = np.stack([np.nan_to_num(margin, nan=-np.inf) for margin in each.values()])
    fails = np.sum(table < 0, axis=0)
    worst = np.round(2 * np.clip(table.min(axis=0), -200.0, 0.0))
    spare = np.clip(table, -200.0, _ENOUGH_DB).sum(axis=0)
    return np.lexsort((np.arange(size), -spare, plainness, -worst, fails))


def _varied(order: np.ndarray, rows: list[tuple[_Kind, dict[str, Any]]], best: int) -> list[int]:
    """The best, of builds that rest alike only the first, and no kind in more than half of the places."""
    chosen: list[int] = []
    seen: set[tuple[Any, ...]] = set()
    count: dict[str, int] = {}
    for k in order:
        kind, build = rows[k]
        at_rest = (kind.name, *(build.get(key) for key in ("transistor", "source_r", "drain_r")))
        if at_rest not in seen and count.get(kind.name, 0) < (best + 1) // 2:
            chosen.append(int(k))
            seen.add(at_rest)
            count[kind.name] = count.get(kind.name, 0) + 1
        if len(chosen) == best:
            break
    return chosen


def _frontier(figures: BuildFigures, among: np.ndarray) -> set[int]:
    """Builds that no other of them beats in some figure without losing in another."""
    columns = [figures.low_note_db, figures.headroom_db, figures.gain_db, -figures.current_a, figures.works]
    if np.isfinite(figures.snr_db_a).all():
        columns.append(figures.snr_db_a)
    table = np.round(np.stack([np.asarray(column, float)[among] for column in columns], axis=-1), 6)
    at_least = np.all(table[:, None] >= table[None], axis=-1)
    better = at_least & np.any(table[:, None] > table[None], axis=-1)
    return {int(k) for k, beaten in zip(among, better.any(axis=0), strict=True) if not beaten}


def _told(
    row: tuple[_Kind, dict[str, Any]], figures: BuildFigures, each: Mapping[str, np.ndarray], k: int, frontier: bool
) -> Build:
    kind, build = row
    own = {name: float(margin[k]) for name, margin in each.items()}
    return Build(
        kind.name,
        {**kind.fixed, **{key: value for key, value in build.items() if key != "transistor"}},
        {key: value.item() for key, value in vars(figures).items()},
        own,
        tuple(sorted((name for name, margin in own.items() if not margin >= 0), key=own.__getitem__)),
        build.get("transistor"),
        frontier,
    )


def as_chain(chain: SignalChain, drawer: Drawer, build: Build) -> SignalChain:
    """The chain with a build in it. Raises ChainError."""
    entered = {} if build.transistor is None else drawer.transistors[build.transistor].entered()
    return chain.but(build.changes).but(entered)

