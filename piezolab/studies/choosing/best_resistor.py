"""Solving backwards: which preferred source (and drain) resistor suits the transistor and the battery's whole life.

Every preferred value in range is tried at once. A value must hold the requirements from a fresh battery to its end
voltage; a gain wished above 0 dB is one of them. Among those that do, the wish decides (room for hard playing, as far
as it is missed), then the most even clipping; or the source voltage nearest to a wanted one. Even means that the two
ends of the a.c. load line, cut-off and triode region, are equally far; a gate that conducts before costs headroom, but
is no way to make a stage even.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.chain.values import Values
from piezolab.quantity import decibels, preferred_between
from piezolab.studies.choosing.build_figures import room_of
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.judging.wish import REST_A, STEP_DB, Wish
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import builds
from piezolab.studies.swing import swing

SATURATION, GATE, CURRENT, GAIN = "saturation", "gate", "current", "gain"
REQUIREMENTS = (SATURATION, GATE, CURRENT, GAIN)
EVEN_STEP_DB = 0.5  # differences of evenness within one such step count as none
PARTS = 13  # of a type, from its 1st to its 99th percentile of V_GS(off)


@dataclass(frozen=True)
class ResistorChoice:
    """Which values there are to choose from, and for whom.

    source_v: wanted voltage at the source, V, at the chain's supply voltage; None: the most even clipping. series: of
    preferred numbers; source_range, drain_range: ohm; fit_drain: whether the drain resistor is chosen too, None: in a
    stage that inverts; rest_a: least and most drain current at rest, A; whole_type: for the parts of the type at large,
    not for the measured or typical one; share: of the parts that must hold the requirements.
    """

    source_v: float | None = None
    series: str = "E24"
    source_range: tuple[float, float] = (47.0, 470e3)
    drain_range: tuple[float, float] = (220.0, 220e3)
    fit_drain: bool | None = None
    rest_a: tuple[float, float] = REST_A
    whole_type: bool = False
    share: float = 1.0


@dataclass(frozen=True)
class BestResistor:
    """The answer; where `feasible` is False, the nearest miss: what suits the most parts, or the most wishes.

    changes: link keys and ohms, for `chain.but`; share: of the parts that hold all of them; missed: the requirements
    that fail (of REQUIREMENTS): those that no value meets, or where each can be met alone, those that stand in the
    way. imbalance_db (of the load line's ends), headroom_v (the nearest edge): the worse of fresh and spent battery,
    the median part; room_db: that edge or the input's ceiling, the nearer, over hard playing, as the judgement has it
    at each voltage; source_v: at the chain's supply, V. Over all values tried, (S, D): shares, imbalances_db,
    headrooms_v, rooms_db, sources_v, for source_r (S,) and drain_r (D,) in ohm; nan where they were not looked at
    because the value fails.
    """

    feasible: bool
    changes: Mapping[str, float]
    share: float
    missed: tuple[str, ...]
    imbalance_db: float
    headroom_v: float
    room_db: float
    source_v: float
    source_r: np.ndarray
    drain_r: np.ndarray
    shares: np.ndarray
    imbalances_db: np.ndarray
    headrooms_v: np.ndarray
    rooms_db: np.ndarray
    sources_v: np.ndarray


def best_resistor(
    chain: SignalChain, wish: Wish | None = None, choice: ResistorChoice | None = None
) -> BestResistor | None:
    """The preferred value that serves the chain best; None with no stage, and where the stage has no such resistor.

    Raises QuantityError on an unknown series or an empty range.
    """
    stage, choice = chain.topology, choice or ResistorChoice()
    if not stage.powered or not stage.has(stage.rest_key):
        return None
    source_r = np.array(preferred_between(*_within(stage.rest_key, choice.source_range), choice.series))
    drain_r = None
    if (stage.inverts if choice.fit_drain is None else choice.fit_drain) and stage.has(stage.gain_key):
        drain_r = np.array(preferred_between(*_within(stage.gain_key, choice.drain_range), choice.series))
    return _of_these(chain, wish or Wish(), choice, source_r, drain_r)


def as_it_is(
    chain: SignalChain, wish: Wish | None = None, choice: ResistorChoice | None = None
) -> BestResistor | None:
    """The same figures of the resistors that the chain has."""
    stage = chain.topology
    if not stage.powered or not stage.has(stage.rest_key):
        return None
    return _of_these(chain, wish or Wish(), choice or ResistorChoice(), np.array([float(chain[stage.rest_key])]), None)


def _of_these(
    chain: SignalChain, wish: Wish, choice: ResistorChoice, source_r: np.ndarray, drain_r: np.ndarray | None
) -> BestResistor:
    """The best of these values; drain_r: None leaves the chain's."""
    stage = chain.topology
    values = _members(chain, choice)
    met = _met(chain, values, wish, choice, source_r, drain_r)  # requirement -> (S, D, parts)
    shares = np.all(list(met.values()), axis=0).mean(axis=-1)
    good = shares >= choice.share - 1e-9
    feasible = bool(good.any())
    missed = () if feasible else _missed(met, choice.share)
    if not feasible:
        good = _nearest(met, missed)
    judged = _judged(chain, values, source_r, drain_r, good)
    at = _best(wish, choice, good, *judged)
    changes = {stage.rest_key: float(source_r[at[0]])}
    if drain_r is not None:
        changes[stage.gain_key] = float(drain_r[at[1]])
    own = (float(each[at]) for each in judged)
    there = np.array([0.0]) if drain_r is None else drain_r
    return BestResistor(feasible, changes, float(shares[at]), missed, *own, source_r, there, shares, *judged)


def _members(chain: SignalChain, choice: ResistorChoice) -> Values:
    """The chain's values with its own transistor, or with parts spread evenly over the type's V_GS(off); (parts,)."""
    own = chain.values
    if not choice.whole_type:
        return own.but(jfet_idss=np.array([own.jfet_idss]), jfet_vgsoff=np.array([own.jfet_vgsoff]))
    many = builds(chain)
    idss, vgsoff = np.broadcast_arrays(np.atleast_1d(many.jfet_idss), np.atleast_1d(many.jfet_vgsoff))
    order = np.argsort(-vgsoff)
    ranks = np.unique(np.round(np.linspace(0.01, 0.99, PARTS) * (len(order) - 1)).astype(int))
    return many.but(jfet_idss=idss[order[ranks]], jfet_vgsoff=vgsoff[order[ranks]])


def _supplies(chain: SignalChain, steps: int) -> np.ndarray:
    """Battery voltages from fresh to spent; of an adapter its own alone."""
    found = battery_range(chain)
    return np.array([chain.supply_v]) if found is None else np.linspace(*found[:2], steps)


def _within(key: str, wished: tuple[float, float]) -> tuple[float, float]:
    """The part of a range that the control takes."""
    control = all_parameters()[key]
    return max(wished[0], control.low), min(wished[1], control.high)


def _resistors(chain: SignalChain, rest: np.ndarray, gain: np.ndarray | None) -> dict[str, np.ndarray]:
    """The resistors looked for, by their settings; the second is left as it is where it is None."""
    stage = chain.topology
    return {stage.rest_key: rest} if gain is None else {stage.rest_key: rest, stage.gain_key: gain}


def _met(
    chain: SignalChain,
    values: Values,
    wish: Wish,
    choice: ResistorChoice,
    source_r: np.ndarray,
    drain_r: np.ndarray | None,
) -> dict[str, np.ndarray]:
    """Which requirements each value holds for each part at every battery voltage: (S, D, parts)."""
    supplies = np.append(_supplies(chain, 3 if choice.whole_type else 5), chain.supply_v)
    linear = LinearChain.of(
        values.but(
            **_resistors(chain, source_r[:, None, None, None], None if drain_r is None else drain_r[:, None, None]),
            jfet_idss=np.asarray(values.jfet_idss)[:, None],
            jfet_vgsoff=np.asarray(values.jfet_vgsoff)[:, None],
            supply_v=supplies,
        )
    )
    q = linear.transistor
    shape = (len(source_r), 1 if drain_r is None else len(drain_r), len(values.jfet_idss), len(supplies))
    asked = wish.gain_db is not None and wish.gain_db > 0
    gain = decibels(linear.gain(1000.0)) if asked else np.inf
    met = {
        SATURATION: linear.saturated,
        GATE: ~linear.gate_conducts,
        CURRENT: (q.i_d >= choice.rest_a[0]) & (q.i_d <= choice.rest_a[1]),
        GAIN: gain >= wish.gain_db if asked else np.True_,
    }
    return {key: np.broadcast_to(value, shape).all(axis=-1) for key, value in met.items()}


def _judged(
    chain: SignalChain, values: Values, source_r: np.ndarray, drain_r: np.ndarray | None, good: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Imbalance in dB, headroom in V, room in dB and source voltage of the good values, nan elsewhere: (S, D)."""
    s, d = np.nonzero(good)
    supplies = np.append(_supplies(chain, 2), chain.supply_v)
    linear = LinearChain.of(
        values.but(
            **_resistors(chain, source_r[s][:, None, None], None if drain_r is None else drain_r[d][:, None, None]),
            jfet_idss=np.asarray(values.jfet_idss)[:, None],
            jfet_vgsoff=np.asarray(values.jfet_vgsoff)[:, None],
            supply_v=supplies,
        )
    )
    edges = swing(linear)
    source = linear.point.voltage(linear.assembly.network[linear.assembly.transistors[0]].source)
    found = []
    for each in (
        edges.line_imbalance_db[..., :-1].max(axis=-1),
        edges.headroom[..., :-1].min(axis=-1),
        room_of(linear.assembly.values, linear)[..., :-1].min(axis=-1),
        np.broadcast_to(source, edges.up.shape)[..., -1],
    ):
        whole = np.full(good.shape, np.nan)
        whole[s, d] = np.median(each, axis=-1)
        found.append(whole)
    return tuple(found)


def missed_steps(wish: Wish, rooms_db: np.ndarray) -> np.ndarray:
    """How far the wished room is missed, in steps of STEP_DB."""
    wished = -np.inf if wish.headroom_db is None else wish.headroom_db
    return np.round(np.clip(wished - rooms_db, 0.0, 200.0) / STEP_DB)


def _best(
    wish: Wish,
    choice: ResistorChoice,
    good: np.ndarray,
    imbalances: np.ndarray,
    headrooms: np.ndarray,
    rooms: np.ndarray,
    sources: np.ndarray,
) -> tuple[int, int]:
    """Place of the best value among the good ones. Equally good ones: the most headroom, then the smaller resistors."""
    with np.errstate(divide="ignore", invalid="ignore"):
        if choice.source_v is None:
            keys = [np.ceil(imbalances / EVEN_STEP_DB), missed_steps(wish, rooms)]
        else:
            keys = [np.abs(np.log(np.maximum(sources, 1e-12) / choice.source_v))]
    keys = [np.where(good, key, np.inf).ravel() for key in (-headrooms, *keys)]
    rank = np.lexsort((np.arange(good.size), *keys))
    place = next(k for k in rank if good.ravel()[k])
    return tuple(int(k) for k in np.unravel_index(place, good.shape))


def _nearest(met: dict[str, np.ndarray], missed: tuple[str, ...]) -> np.ndarray:
    """Where no value holds all wishes: those that suit the most parts, else as many wishes as can be had."""
    kept = [key for key in met if key not in missed]
    for keys in (list(met), kept or list(met), [SATURATION]):
        shares = np.all([met[key] for key in keys], axis=0).mean(axis=-1)
        if shares.max() > 0:
            break
    return shares >= shares.max() - 1e-9


def _missed(met: dict[str, np.ndarray], share: float) -> tuple[str, ...]:
    """The requirements to blame: those that no value meets, else those without which some value would do."""

    def possible(keys: list[str]) -> bool:
        return bool((np.all([met[key] for key in keys], axis=0).mean(axis=-1) >= share - 1e-9).any()) if keys else True

    never = tuple(key for key in met if not possible([key]))
    return never or tuple(key for key in met if possible([other for other in met if other != key])) or tuple(met)
