"""What to buy for a chain: preferred values, voltage and power ratings, polarity, and other transistors that fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.parts import Part
from piezolab.circuit.elements import Capacitor, Resistor
from piezolab.circuit.network import Network
from piezolab.quantity import nearest_preferred
from piezolab.studies.board.board_parts import film
from piezolab.studies.choosing.other_types import FITS
from piezolab.studies.choosing.other_types import other_types as types_that_fit
from piezolab.studies.metering.board_under_meter import BoardUnderMeter, under_meter
from piezolab.studies.metering.probes import Probe, fed_at_probes
from piezolab.studies.phantom import driven_backwards

RATINGS_V = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 100.0)  # usual electrolytic ratings; common practice, no source
FILM_V = 63.0  # the least rating in which film capacitors are sold; common practice, no source
MARGIN = 1.5  # rating over the highest direct voltage
PHANTOM_V = 63.0  # rating that stands 48 V and its tolerance
WATT_SIZES = (0.25, 0.5, 1.0, 2.0)


@dataclass(frozen=True)
class Item:
    """One part to buy.

    kind: resistor, film, electrolytic, bipolar (where phantom power would drive a polarised one backwards: bipolar or
    film only), transistor or clamp; value: as designed, preferred: the nearest E24 (resistors) or E12
    (capacitors) value, both SI; highest_v: largest direct voltage across it, V; rating_v: to ask for; positive: node of
    the positive lead, None where there is none; watt: size of a resistor; key: a transistor's: the setting
    that names its type.
    """

    name: str
    label: str
    kind: str
    value: float | None
    preferred: float | None
    highest_v: float | None = None
    rating_v: float | None = None
    positive: str | None = None
    watt: float | None = None
    key: str = ""

    @property
    def off(self) -> float:
        """How far the preferred value is from the designed one, as a part of it."""
        return 0.0 if not self.value or self.preferred is None else self.preferred / self.value - 1


def shopping(chain: SignalChain) -> tuple[Item, ...]:
    """What goes on the chain's board, in signal order; nothing with no stage."""
    if not chain.topology.powered:
        return ()
    built = under_meter(chain)
    volts, watts = _stress(built)
    assembly = assemble(chain.values)
    blocking = driven_backwards(chain, assembly)
    parts = [part for part in assembly.where("board", "supply", "input") if _bought(part)]
    high = any(catalogue.inputs()[kind].phantom for kind in chain.input)
    return tuple(_item(part, volts, watts, part.name in blocking, high) for part in parts)


def other_types(chain: SignalChain) -> tuple[str, ...]:
    """The best five other transistor types that fit this chain as it is (see `choosing.other_types`), and before them
    the chain's own if it fits."""
    found = types_that_fit(chain)
    own = () if found.own is None or found.own.share < FITS else (found.own.name,)
    return (*own, *(each.name for each in found.fitting))


def _bought(part: Part) -> bool:
    on_board = part.where in ("board", "supply") and part.kind in ("resistor", "capacitor", "jfet", "clamp")
    return on_board or part.key == "pad"


def _item(
    part: Part, volts: dict[str, float], watts: dict[str, float], backwards: bool, phantom: bool
) -> Item:
    if part.kind == "jfet":
        return Item(part.name, part.label, "transistor", None, None, key=part.key or "jfet")
    if part.kind == "clamp":
        return Item(part.name, part.label, "clamp", None, None)
    value = float(part.value)
    if part.kind == "resistor":
        need = 2 * watts.get(part.name, 0.0)  # half its rating keeps a part cool
        watt = next((size for size in WATT_SIZES if size >= need), WATT_SIZES[-1])
        return Item(part.name, part.label, "resistor", value, _nearest(value, "E24"), watt=watt)
    highest = volts.get(part.name, 0.0)
    need = max(MARGIN * highest, PHANTOM_V if backwards and phantom else 0.0)
    if film(value):
        rating = max(FILM_V, next((size for size in RATINGS_V if size >= need), RATINGS_V[-1]))
        return Item(part.name, part.label, "film", value, _nearest(value, "E12"), highest, rating)
    rating = next((size for size in RATINGS_V if size >= need), RATINGS_V[-1])
    kind, positive = ("bipolar", None) if backwards else ("electrolytic", part.nodes[0])
    return Item(part.name, part.label, kind, value, _nearest(value, "E12"), highest, rating, positive)


def _nearest(value: float, series: str) -> float | None:
    return nearest_preferred(value, series) if value > 0 else None


def _stress(built: BoardUnderMeter) -> tuple[dict[str, float], dict[str, float]]:
    """Highest direct voltage across each capacitor in V, highest power of each resistor in W.

    Over all parts on a fresh battery, with the transistor in its place and, for voltages, also without it.
    """
    fresh = built.clip_v[1]
    empty = Network(element for element in built.network if element not in built.network.jfets)
    volts: dict[str, float] = {}
    watts: dict[str, float] = {}
    for network in (built.network, empty):
        probes = list(dict.fromkeys(Probe(e.a, e.b) for e in network if isinstance(e, Capacitor | Resistor)))
        found = dict(zip(probes, fed_at_probes(built, network, probes, fresh), strict=True))
        for element in network:
            if isinstance(element, Capacitor | Resistor):
                across = float(np.max(np.abs(found[Probe(element.a, element.b)])))
                if isinstance(element, Capacitor):
                    volts[element.name] = max(volts.get(element.name, 0.0), across)
                elif network is built.network and np.all(np.asarray(element.ohm) > 0):
                    watts[element.name] = across**2 / float(np.min(element.ohm))
    return volts, watts
