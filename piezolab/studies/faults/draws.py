"""Builds of a chain as they come from the bench: parts within their tolerance, batteries between fresh and spent.

`Spread` says how far things vary. The study reckons with `USUAL`; a trial of the study draws from another.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.values import Values
from piezolab.studies.faults.fault_network import FaultNetwork, settings_of
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.network_names import Settings
from piezolab.studies.population import builds

SEED = 1887
_STRATA = 16


@dataclass(frozen=True)
class Spread:
    """How builds vary.

    resistor, film, electrolytic, disc: parts either way; temperature: range in K about the chain's; lambda_,
    insulation, leakage: ranges of the factor (log-uniform); measured: of I_DSS and V_GS(off) once measured; tone,
    test_v: parts either way; charge: range of the battery's state, 1 fresh and 0 spent; other: what else draws, either
    way; other_asleep: factor of its resistance on the ohms range, where a lamp has none, and a light-emitting diode
    conducts nothing; diode, diode_leak: ranges of the factor of the polarity diode's currents; range_up: part
    of the builds whose ohms are read above the lowest range that shows a number, half of them one, the others two or
    three ranges above it.
    """

    resistor: float = 0.015
    film: float = 0.10
    electrolytic: float = 0.20
    disc: float = 0.20
    temperature: tuple[float, float] = (-10.0, 5.0)
    lambda_: tuple[float, float] = (0.5, 2.0)
    leakage: tuple[float, float] = (0.03, 1.0)
    insulation: tuple[float, float] = (0.1, 5.0)
    measured: float = 0.02
    tone: float = 0.10
    test_v: float = 0.2
    charge: tuple[float, float] = (0.1, 1.0)
    other: float = 0.2
    other_asleep: tuple[float, float] = (1.0, 1e7)
    diode: tuple[float, float] = (0.5, 2.0)
    diode_leak: tuple[float, float] = (0.1, 10.0)
    range_up: float = 0.2


USUAL = Spread()


class _Sampler:
    """Random numbers, each of which covers its range evenly over the batch."""

    def __init__(self, rng: np.random.Generator, size: int) -> None:
        self.rng, self.size = rng, size

    def even(self) -> np.ndarray:
        """0 to 1, one in each of `size` equal parts, in random order."""
        return (self.rng.permutation(self.size) + self.rng.random(self.size)) / self.size

    def between(self, low: float, high: float) -> np.ndarray:
        return low + (high - low) * self.even()

    def log(self, low: float, high: float) -> np.ndarray:
        return low * (high / low) ** self.even()

    def around(self, part: float) -> np.ndarray:
        return self.between(1 - part, 1 + part)


def sound_builds(
    chain: SignalChain, network: FaultNetwork, size: int, spread: Spread, rng: np.random.Generator
) -> Settings:
    """Settings of `size` builds in which nothing is wrong; every array of shape (size,)."""
    make = _Sampler(rng, size)
    values = chain.values.but(
        temp_c=chain.values.temp_c + make.between(*spread.temperature),
        pickup_r=chain.values.pickup_r * make.log(*spread.insulation),
    )
    if network.transistors:
        values = _transistors(chain, values, make, spread)
    settings = settings_of(network, assemble(values))
    electrolytic = electrolytics(network)
    for part in network.slots:
        if part.kind == "resistor":
            settings[f"{part.name}.ohm"] = settings[f"{part.name}.ohm"] * make.around(spread.resistor)
            continue
        polarised = part.name in electrolytic
        tolerance = spread.electrolytic if polarised else spread.film
        settings[f"{part.name}.farad"] = settings[f"{part.name}.farad"] * make.around(tolerance)
        if polarised:  # 0.01*C*V at worst, a tenth of it and less typically: a resistance of 100/C and more
            settings[f"{part.name}.ohm"] = 100.0 / settings[f"{part.name}.farad"] * make.log(1.0, 100.0)
    disc = make.around(spread.disc)
    for part in network.fixed:
        if part.where == "pickup" and part.kind == "capacitor":
            settings[f"{part.name}.farad"] = settings[f"{part.name}.farad"] * disc
    for part in network.batteries:
        settings |= _battery(chain, part.name, make.between(*spread.charge), make)
        if chain.other_current > 0:
            settings[f"{part.name}.other"] = chain.values.supply_v / chain.other_current * make.around(spread.other)
            settings[f"{part.name}.other asleep"] = make.log(*spread.other_asleep)
    if network.diode:
        for what, factor in (("saturation", spread.diode), ("leak", spread.diode_leak)):
            settings[f"{network.diode}.{what}"] = settings[f"{network.diode}.{what}"] * make.log(*factor)
    above = make.even() / spread.range_up
    settings["meter.up"] = np.select([above < 0.25, above < 0.5, above < 1.0], [3, 2, 1], 0)
    settings["tone.level"] = make.around(spread.tone)
    settings["meter.level"] = make.around(spread.test_v)
    return settings


def _transistors(chain: SignalChain, values: Values, make: _Sampler, spread: Spread) -> Values:
    drawn = builds(chain, size=make.size * _STRATA, seed=int(make.rng.integers(2**31)))
    idss, vgsoff = (np.broadcast_to(each, make.size * _STRATA) for each in (drawn.jfet_idss, drawn.jfet_vgsoff))
    order = np.argsort(vgsoff, kind="stable")[_STRATA // 2 :: _STRATA]  # even over the population
    order = make.rng.permutation(order)
    idss, vgsoff = idss[order], vgsoff[order]
    if chain.jfet_idss is not None:
        idss = idss * make.around(spread.measured)
    if chain.jfet_vgsoff is not None:
        vgsoff = vgsoff * make.around(spread.measured)
    return values.but(
        jfet_idss=idss,
        jfet_vgsoff=vgsoff,
        jfet_lambda=values.jfet_lambda * make.log(*spread.lambda_),
        jfet_ig=values.jfet_ig * make.log(*spread.leakage),
    )


def _battery(chain: SignalChain, name: str, charge: np.ndarray, make: _Sampler) -> Settings:
    if chain.supply == "adapter":
        return {f"{name}.emf": chain.values.supply_v * make.around(0.05), f"{name}.inside": make.log(0.2, 2.0)}
    kind = catalogue.batteries()[chain.supply]
    emf = (kind.end_v + charge * (kind.fresh_v - kind.end_v)) * chain.values.supply_v / kind.nominal_v
    return {f"{name}.emf": emf, f"{name}.inside": kind.r_spent * (kind.r_fresh / kind.r_spent) ** charge}


def electrolytics(network: FaultNetwork) -> frozenset[str]:
    """Names of the polarised capacitors on the board: those above the limit of data/faults.toml."""
    least = knowledge().limits.electrolytic_from
    return frozenset(
        part.name for part in network.slots if part.kind == "capacitor" and np.median(part.value) >= least
    )


class _Some(Mapping):
    """The settings of some builds."""

    def __init__(self, settings: Settings, here: slice) -> None:
        self.settings, self.here = settings, here

    def __getitem__(self, name: str) -> float | np.ndarray:
        value = self.settings[name]
        return value[self.here].copy() if np.ndim(value) else value  # an edit may exchange two of them

    def __iter__(self) -> Iterator[str]:
        return iter(self.settings)

    def __len__(self) -> int:
        return len(self.settings)


def tiled(sound: Settings, count: int) -> Settings:
    """The same builds `count` times, one after the other."""
    return {name: np.tile(value, count) if np.ndim(value) else value for name, value in sound.items()}


def blocks(size: int, count: int) -> list[slice]:
    """`size` builds in `count` parts, one after the other, as even as can be."""
    edges = [size * n // count for n in range(count + 1)]
    return [slice(low, high) for low, high in zip(edges, edges[1:], strict=False)]


def fitting(sound: Settings, swing: np.ndarray, size: int) -> Settings:
    """`size` of the sound builds, those first whose transistor holds hard playing (`Findings.swing` up to 1).

    Where fewer than half do, the chain itself does not: then all are taken as they come.
    """
    good = np.flatnonzero(swing <= 1.0)
    chosen = np.resize(good, size) if 2 * len(good) >= len(swing) else np.arange(size)
    return {name: value[chosen] if np.ndim(value) else value for name, value in sound.items()}


def with_faults(
    sound: Settings, faults: Sequence[Sequence[Hypothesis]], rng: np.random.Generator, each: int
) -> Settings:
    """Sound builds, arrays of shape (len(faults) * each,), in which `each` builds get one list of faults after another.

    The faults of a list are made in their order. A fault that can be made in several ways is made in each by as many
    builds; by a single one in any of them.
    """
    size = len(faults) * each
    changed = dict(sound)
    fresh: set[str] = set()
    for n, several in enumerate(faults):
        for fault in several:
            edits = fault.edits
            if each < len(edits):
                edits = (edits[rng.integers(len(edits))],)
            for edit, part in zip(edits, blocks(each, len(edits)), strict=True):
                here = slice(n * each + part.start, n * each + part.stop)
                for name, value in edit(_Some(changed, here), _Sampler(rng, part.stop - part.start).log).items():
                    if name not in fresh:
                        kind = int if name.endswith(".pins") else float
                        changed[name] = np.array(np.broadcast_to(changed.get(name, 1.0), (size,)), kind)
                        fresh.add(name)
                    changed[name][here] = value
    return changed
