"""Solving backwards: which preferred source (and drain) resistor suits the transistor and the battery's whole life.

Every preferred value in range is tried at once. A value must hold the wishes from a fresh battery to its end voltage;
among those that do, the most even clipping wins, or the source voltage nearest to a wanted one. Even means that the two
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
from piezolab.quantity import preferred_between
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import builds
from piezolab.studies.swing import swing

SATURATION, GATE, CURRENT, GAIN = "saturation", "gate", "current", "gain"
REQUIREMENTS = (SATURATION, GATE, CURRENT, GAIN)
# Less and the hiss rises and a long cable dulls the top; more and a 9 V block is empty in three weeks of playing;
# common practice, no source.
CURRENT_A = (100e-6, 1e-3)
EVEN_STEP_DB = 0.5  # differences of evenness within one such step count as none
PARTS = 13  # of a type, from its 1st to its 99th percentile of V_GS(off)


@dataclass(frozen=True)
class Wish:
    """What the resistor is chosen for.

    source_v: wanted voltage at the source, V, at the chain's supply voltage; None: the most even clipping. series: of
    preferred numbers; source_range, drain_range: ohm; fit_drain: whether the drain resistor is chosen too, None: in a
    stage that inverts; current_a: least and most drain current at rest, A; least_gain: at 1 kHz, ratio; whole_type:
    for the parts of the type at large, not for the measured or typical one; share: of the parts that must hold them.
    """

    source_v: float | None = None
    series: str = "E24"
    source_range: tuple[float, float] = (47.0, 470e3)
    drain_range: tuple[float, float] = (220.0, 220e3)
    fit_drain: bool | None = None
    current_a: tuple[float, float] = CURRENT_A
    least_gain: float = 0.0
    whole_type: bool = False
    share: float = 1.0


@dataclass(frozen=True)
class BestResistor:
    """The answer; where `feasible` is False, the nearest miss: what suits the most parts, or the most wishes.

    changes: link keys and ohms, for `chain.but`; share: of the parts that hold all wishes; missed: the requirements
    that fail (of REQUIREMENTS): those that no value meets, or where each can be met alone, those that stand in the
    way. imbalance_db (of the load line's ends), headroom_v (the nearest edge): the worse of fresh and spent battery,
    the median part; source_v: at the chain's supply, V. Over all values tried, (S, D): shares, imbalances_db,
    headrooms_v, sources_v, for source_r (S,) and drain_r (D,) in ohm; nan where they were not looked at because the
    value fails.
    """

    feasible: bool
    changes: Mapping[str, float]
    share: float
    missed: tuple[str, ...]
    imbalance_db: float
    headroom_v: float
    source_v: float
    source_r: np.ndarray
    drain_r: np.ndarray
    shares: np.ndarray
    imbalances_db: np.ndarray
    headrooms_v: np.ndarray
    sources_v: np.ndarray


def best_resistor(chain: SignalChain, wish: Wish | None = None) -> BestResistor | None:
    """The preferred value that serves the chain best; None with no stage, and where the stage has no such resistor.

    Raises QuantityError on an unknown series or an empty range.
    """
    stage = chain.topology
    if not stage.powered or not stage.has(stage.rest_key):
        return None
    wish = wish or Wish()
    fit_drain = (stage.inverts if wish.fit_drain is None else wish.fit_drain) and stage.has(stage.gain_key)
    source_r = np.array(preferred_between(*_within(stage.rest_key, wish.source_range), wish.series))
    drain_r = np.array([0.0])
    if fit_drain:
        drain_r = np.array(preferred_between(*_within(stage.gain_key, wish.drain_range), wish.series))
    values = _members(chain, wish)
    met = _met(chain, values, wish, source_r, drain_r)  # requirement -> (S, D, parts)
    shares = np.all(list(met.values()), axis=0).mean(axis=-1)
    good = shares >= wish.share - 1e-9
    feasible = bool(good.any())
    missed = () if feasible else _missed(met, wish.share)
    if not feasible:
        good = _nearest(met, missed)
    imbalances, headrooms, sources = _judged(chain, values, source_r, drain_r, good)
    at = _best(wish, good, imbalances, headrooms, sources)
    changes = {stage.rest_key: float(source_r[at[0]])}
    if fit_drain:
        changes[stage.gain_key] = float(drain_r[at[1]])
    return BestResistor(
        feasible,
        changes,
        float(shares[at]),
        missed,
        float(imbalances[at]),
        float(headrooms[at]),
        float(sources[at]),
        source_r,
        drain_r,
        shares,
        imbalances,
        headrooms,
        sources,
    )


def _members(chain: SignalChain, wish: Wish) -> Values:
    """The chain's values with its own transistor, or with parts spread evenly over the type's V_GS(off); (parts,)."""
    own = chain.values
    if not wish.whole_type:
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
    chain: SignalChain, values: Values, wish: Wish, source_r: np.ndarray, drain_r: np.ndarray
) -> dict[str, np.ndarray]:
    """Which requirements each value holds for each part at every battery voltage: (S, D, parts)."""
    supplies = np.append(_supplies(chain, 3 if wish.whole_type else 5), chain.supply_v)
    linear = LinearChain.of(
        values.but(
            **_resistors(chain, source_r[:, None, None, None], drain_r[:, None, None] if len(drain_r) > 1 else None),
            jfet_idss=np.asarray(values.jfet_idss)[:, None],
            jfet_vgsoff=np.asarray(values.jfet_vgsoff)[:, None],
            supply_v=supplies,
        )
    )
    q = linear.transistor
    shape = (len(source_r), len(drain_r), len(values.jfet_idss), len(supplies))
    gain = np.abs(linear.gain(np.array([1000.0])))[..., 0] if wish.least_gain > 0 else np.inf
    met = {
        SATURATION: linear.saturated,
        GATE: ~linear.gate_conducts,
        CURRENT: (q.i_d >= wish.current_a[0]) & (q.i_d <= wish.current_a[1]),
        GAIN: gain >= wish.least_gain,
    }
    return {key: np.broadcast_to(value, shape).all(axis=-1) for key, value in met.items()}


def _judged(
    chain: SignalChain, values: Values, source_r: np.ndarray, drain_r: np.ndarray, good: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Imbalance in dB, headroom in V and source voltage of the good values, nan elsewhere: (S, D)."""
    s, d = np.nonzero(good)
    supplies = np.append(_supplies(chain, 2), chain.supply_v)
    linear = LinearChain.of(
        values.but(
            **_resistors(chain, source_r[s][:, None, None], drain_r[d][:, None, None] if len(drain_r) > 1 else None),
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
        np.broadcast_to(source, edges.up.shape)[..., -1],
    ):
        whole = np.full(good.shape, np.nan)
        whole[s, d] = np.median(each, axis=-1)
        found.append(whole)
    return tuple(found)


def _best(
    wish: Wish, good: np.ndarray, imbalances: np.ndarray, headrooms: np.ndarray, sources: np.ndarray
) -> tuple[int, int]:
    """Place of the best value among the good ones. Equally good ones: the most headroom, then the smaller resistors."""
    with np.errstate(divide="ignore", invalid="ignore"):
        if wish.source_v is None:
            first = np.ceil(imbalances / EVEN_STEP_DB)
        else:
            first = np.abs(np.log(np.maximum(sources, 1e-12) / wish.source_v))
    first = np.where(good, first, np.inf)
    rank = np.lexsort((np.arange(first.size), -np.where(good, headrooms, -np.inf).ravel(), first.ravel()))
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
