"""A chain solved once: what every study of the chain at rest and of its small signals starts from.

Three levels, each kept for the latest chains under all that it depends on: the operating point under what of the
network lives at direct current, the linear network under the whole network, a curve under that and its frequencies.
Batches are solved each time; where only what is dead at direct current varies, their operating point is a kept one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from piezolab.chain.assembly import GROUND, Assembly, assemble
from piezolab.chain.values import Values
from piezolab.circuit.live_part import live_part, widened
from piezolab.circuit.load_line import LoadLine, load_line, seen_from_ports
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint, operating_point
from piezolab.circuit.small_signal import linearised, transfer, transfers_of_each
from piezolab.studies.kept import kept, read_only

CHAINS, POINTS, NETWORKS, CURVES = 8, 8, 8, 32  # how many are kept
LINE_HZ = 1000.0  # where the a.c. load line is taken
FORWARD_V = 0.026  # about kT/q: a gate above its source by more is forward biased, however little flows yet
R = TypeVar("R")
LONGEST = 4096  # points of a curve that is kept: more are a free disc's, of some megabytes


@dataclass(frozen=True)
class LinearChain:
    """An assembly with its operating point and its linear network; computed when asked for, once."""

    assembly: Assembly

    @classmethod
    def of(cls, values: Values) -> LinearChain:
        """From resolved values, numbers or arrays of builds."""
        plain = tuple(values.as_dict().items())
        if any(isinstance(value, np.ndarray) for _, value in plain):
            return cls(assemble(values))
        return _chain(plain)

    def standing(self, point: OperatingPoint) -> LinearChain:
        """The same chain in another state than rest, such as while a capacitor is still charged: its slopes and its
        edges there. Where the states are a batch and the chain has several transistors, so must be its assembly."""
        there = LinearChain(self.assembly)
        there.__dict__["point"] = point
        return there

    @cached_property
    def point(self) -> OperatingPoint:
        """Operating point of the whole network; its arrays are read-only."""
        return at_rest(self.assembly.network)

    @cached_property
    def network(self) -> Network:
        """Small-signal equivalent."""
        network = self.assembly.network
        return linearised(network, self.point) if network.batch_shape else _linear_network(network)

    @property
    def transistor(self) -> JfetPoint | None:
        """The stage's transistor at rest, the first one where it has several; None with no stage."""
        names = self.assembly.transistors
        return self.point.jfets[names[0]] if names else None

    @cached_property
    def load_line(self) -> LoadLine:
        """The a.c. load line at LINE_HZ, from pickup to load. Raises CircuitError where there is no transistor."""
        assembly, seen = self.assembly, self.seen_from_ports
        return read_only(load_line(assembly.network, self.point, LINE_HZ, assembly.drive, assembly.load, seen=seen))

    @cached_property
    def seen_from_ports(self) -> list[list[np.ndarray]]:
        """What the transistors see around them at LINE_HZ, as `circuit.load_line.seen_from_ports` has it."""
        assembly = self.assembly
        return read_only(seen_from_ports(assembly.network, LINE_HZ, assembly.drive, assembly.load))

    def once(self, study: Callable[[LinearChain], R]) -> R:
        """What a study finds of this very chain, worked out once for as long as the chain is kept; read-only."""
        found = self.__dict__.setdefault("found", {})
        if study not in found:
            found[study] = read_only(study(self))
        return found[study]

    @property
    def saturated(self) -> np.ndarray:
        """Whether every transistor is in saturation at rest."""
        return np.all([self.point.jfets[q].region == "saturation" for q in self.assembly.transistors], axis=0)

    @property
    def gate_conducts(self) -> np.ndarray:
        """Whether any transistor's gate conducts at rest."""
        return np.any([conducting(self.point.jfets[q]) for q in self.assembly.transistors], axis=0)

    @property
    def works(self) -> np.ndarray:
        """Whether the stage works at rest: every transistor in saturation with a quiet gate."""
        return self.saturated & ~self.gate_conducts

    def gain(self, frequency: np.ndarray | float) -> np.ndarray:
        """v(load)/v(open circuit of one disc), complex, shape batch + frequency (Hz); read-only where it is kept.

        Discs wired opposed cancel what both feel alike: their gain is 0 but for their inequality.
        """
        frequency, load = np.asarray(frequency, float), self.assembly.load
        drive = tuple(self.assembly.drive.items())
        plain = not self.network.batch_shape and not any(np.ndim(amplitude) for _, amplitude in drive)
        if plain and frequency.size <= LONGEST:
            return _curve(self.network, tuple((name, float(amplitude)) for name, amplitude in drive), load, frequency)
        return _gain(self.network, dict(drive), load, frequency)


def conducting(q: JfetPoint) -> np.ndarray:
    """Whether a transistor's gate conducts: current flows forwards through it, or it is forward biased."""
    return q.gate_conducts | (q.v_gs > FORWARD_V)


def at_rest(network: Network) -> OperatingPoint:
    """The operating point of a network, solved anew only where its live part is not one of the latest; read-only."""
    live = live_part(network)
    return widened(network, operating_point(live) if live.batch_shape else _point(live))


@kept(CHAINS)
def _chain(values: tuple[tuple[str, Any], ...]) -> LinearChain:
    return LinearChain(assemble(Values(dict(values))))


@kept(POINTS)
def _point(live: Network) -> OperatingPoint:
    return operating_point(live)


@kept(NETWORKS)
def _linear_network(network: Network) -> Network:
    return linearised(network, at_rest(network))


@kept(CURVES)
def _curve(
    network: Network, drive: tuple[tuple[str, float], ...], load: str, frequency: np.ndarray
) -> np.ndarray:
    return _gain(network, dict(drive), load, frequency)


def _gain(network: Network, drive: Mapping[str, Any], load: str, frequency: np.ndarray) -> np.ndarray:
    if _alike(drive):
        return transfer(network, frequency, drive, load)
    each = [{name: amplitude} for name, amplitude in drive.items()]
    return _together([share for (share,) in transfers_of_each(network, frequency, each, [(load, GROUND)])])


def gain_of(drive: Mapping[str, Any], each: Mapping[str, np.ndarray]) -> np.ndarray:
    """As `LinearChain.gain`, from the transfers of the sources alone, shape batch + (F,)."""
    shares = [np.asarray(amplitude)[..., None] * each[name] for name, amplitude in drive.items()]
    return sum(shares[1:], shares[0]) if _alike(drive) else _together(shares)


def _alike(drive: Mapping[str, Any]) -> bool:
    return all(np.all(np.asarray(amplitude) >= 0) for amplitude in drive.values())


def _together(shares: list[np.ndarray]) -> np.ndarray:
    """What opposed discs bring together, from what each brings."""
    total = sum(shares)
    # what rounding leaves of their difference is no signal: up to 1e-7 of them around a resonance
    return np.where(np.abs(total) <= 1e-6 * sum(map(np.abs, shares)) + 1e-18, 0.0, total)
