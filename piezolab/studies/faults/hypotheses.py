"""Every single fault of a bench, made from its list of parts.

A fault changes some settings of the bench. Two leads of a two-lead part are one hypothesis: a bad joint in either is
the same circuit. An open junction of the gate is the gate's lead open, and counts as that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from piezolab.chain.assembly import GROUND, PICKUP
from piezolab.chain.parts import Part
from piezolab.studies.faults.fault_network import FaultNetwork
from piezolab.studies.faults.network_names import LEADS, LIGHT_R, OPEN_OHM, PIN_ORDERS, SOUND_OHM, Settings, bridge_name

JOINT_OHM = (10.0, 1e6)
LEAK_OHM = (100e3, 100e6)
SHORT_OHM = (0.05, 0.5)
# An electrolytic the wrong way round conducts like a resistor once there is voltage (this at 1 V; a good one holds for
# months), and an order less on the ohms range, which has little; our own coarse model, common practice, no source.
REVERSED_OHM = (1e3, 10e6)
REVERSED_ASLEEP = (5.0, 50.0)
DEPOLARISED = (0.05, 0.3)
FLAT = (0.3, 0.95)  # of the voltage at which a battery counts as spent
CRACKLING = ("joint", "leak", "reversed_capacitor", "hurt_capacitor", "foil")

Draw = Callable[[float, float], np.ndarray]  # log-uniform, one for each build
Edit = Callable[[Mapping[str, float | np.ndarray], Draw], Settings]  # the settings that change


def unchanged(settings: Mapping[str, float | np.ndarray], draw: Draw) -> Settings:
    """The edit of a build in which nothing is wrong."""
    return {}


@dataclass(frozen=True)
class Hypothesis:
    """One single fault.

    key: its name; kind: row of data/faults.toml; spot: where one would look and mend, shared by faults that are mended
    at the same place; parts: names that the wording needs; weight: beside others of its kind; edit, others: what it
    changes, and further ways to make it that are mended alike.
    """

    key: str
    kind: str
    spot: str
    parts: tuple[str, ...] = ()
    weight: float = 1.0
    edit: Edit = field(default=unchanged, compare=False, repr=False)
    others: tuple[Edit, ...] = field(default=(), compare=False, repr=False)

    @property
    def edits(self) -> tuple[Edit, ...]:
        """All ways to make it."""
        return (self.edit, *self.others)


def hypotheses(
    network: FaultNetwork, *, battery: bool, end_v: float, electrolytics: frozenset[str]
) -> tuple[Hypothesis, ...]:
    """All single faults of the bench, "healthy" first.

    battery: whether the supply is one that goes flat, below `end_v` V; electrolytics: names of polarised capacitors.
    """
    found = [Hypothesis("healthy", "healthy", "healthy")]
    for part in network.slots:
        found += _slot(part, part.name in electrolytics)
    found += _swaps(network)
    for part in network.transistors:
        found += _transistor(part, network.supply)
    for part in network.batteries:
        found += _battery(part, battery, end_v)
        found += _diode(network.diode, part)
    if network.light:
        found.append(Hypothesis(f"small:{LIGHT_R}", "small", f"part:{LIGHT_R}", (LIGHT_R,), 1.0,
                                times(f"{LIGHT_R}.ohm", 0.1)))  # fmt: skip
    for pair in network.bridges:
        edit = drawn(bridge_name(*pair), *SHORT_OHM)
        found.append(Hypothesis("lane_bridge:" + "|".join(pair), "lane_bridge", bridge_spot(*pair), (), 1.0, edit))
    found += _jack(network)
    found += _cable()
    found += _disc(network)
    return tuple(found)


def set_to(name: str, value: float) -> Edit:
    """Sets one setting."""
    return lambda settings, draw: {name: value}


def drawn(name: str, low: float, high: float) -> Edit:
    """Draws one setting."""
    return lambda settings, draw: {name: draw(low, high)}


def times(name: str, factor: float) -> Edit:
    """Multiplies one setting."""
    return lambda settings, draw: {name: settings[name] * factor}


def bridge_spot(a: str, b: str) -> str:
    """The place of a short between two lanes."""
    return "bridge:" + "|".join(sorted((a, b)))


def _slot(part: Part, electrolytic: bool) -> Iterator[Hypothesis]:
    p, spot = part.name, f"part:{part.name}"
    if part.kind == "clamp":  # of another value there is none: sound, missing or burnt through
        yield Hypothesis(f"open:{p}", "open", spot, (p,), 1.0, set_to(f"{p}.joint", OPEN_OHM))
        yield Hypothesis(f"bridge:{p}", "bridge", bridge_spot(*part.nodes), (p,), 1.0, drawn(f"{p}.ohm", *SHORT_OHM))
        return
    value = f"{p}.ohm" if part.kind == "resistor" else f"{p}.farad"
    yield Hypothesis(f"joint:{p}", "joint", spot, (p,), 2.0, drawn(f"{p}.joint", *JOINT_OHM))
    yield Hypothesis(f"open:{p}", "open", spot, (p,), 2.0, set_to(f"{p}.joint", OPEN_OHM))
    yield Hypothesis(f"bridge:{p}", "bridge", bridge_spot(*part.nodes), (p,), 1.0, drawn(f"{p}.ohm", *SHORT_OHM))
    yield Hypothesis(f"large:{p}", "large", spot, (p,), 1.0, times(value, 10.0))
    yield Hypothesis(f"small:{p}", "small", spot, (p,), 1.0, times(value, 0.1))
    if electrolytic:

        yield Hypothesis(f"reversed_capacitor:{p}", "reversed_capacitor", spot, (p,), 1.0, leaking(p))


def leaking(p: str) -> Edit:
    """A capacitor that was, or is, driven the wrong way round."""
    return lambda settings, draw: {f"{p}.ohm": draw(*REVERSED_OHM), f"{p}.asleep": draw(*REVERSED_ASLEEP)}


def _swaps(network: FaultNetwork) -> Iterator[Hypothesis]:
    for one, other in combinations((part for part in network.board_slots() if part.kind != "clamp"), 2):
        if set(one.nodes) == set(other.nodes):
            continue  # in parallel: nothing changes
        p, q = one.name, other.name

        def swap(settings: Settings, draw: Draw, p: str = p, q: str = q) -> Settings:
            return {
                f"{here}.{what}": settings[f"{there}.{what}"]
                for here, there in ((p, q), (q, p))
                for what in ("ohm", "farad")
            }

        if one.kind == other.kind:
            weight, spot = 1.0, f"swap:{p}+{q}"
        else:  # they look different: seldom done, and seen at once at the resistor's place
            weight, spot = 0.25, f"part:{p if one.kind == 'resistor' else q}"
        yield Hypothesis(f"swapped:{p}+{q}", "swapped", spot, (p, q), weight, swap)


def _transistor(part: Part, supply: str | None) -> Iterator[Hypothesis]:
    q, spot = part.name, f"transistor:{part.name}"
    lanes = dict(zip(LEADS, part.nodes, strict=True))
    for n, order in enumerate(PIN_ORDERS[1:], 1):
        in_holes = "".join("dgs"[order.index(place)] for place in range(3))
        yield Hypothesis(f"pins:{q}:{in_holes}", "pins", spot, (q,), 1.0, set_to(f"{q}.pins", n))
    for lead in LEADS:
        yield Hypothesis(f"joint:{q}.{lead}", "joint", spot, (q, lead), 1.0, drawn(f"{q}.{lead}", *JOINT_OHM))
        yield Hypothesis(f"open:{q}.{lead}", "open", spot, (q, lead), 1.0, set_to(f"{q}.{lead}", OPEN_OHM))
    for a, b in (("gate", "source"), ("gate", "drain"), ("drain", "source")):
        if lanes[a] != lanes[b]:
            edit = drawn(f"{q}.{a}-{b}", 1.0, 50.0)
            yield Hypothesis(f"dead:{q}.{a}-{b}", "dead", bridge_spot(lanes[a], lanes[b]), (q, a, b), 1.0, edit)
    yield Hypothesis(f"dead:{q}.channel", "dead", spot, (q,), 1.0, times(f"{q}.beta", 1e-9))
    gate = part.nodes[1]
    for name, far in (("leak-ground", GROUND), ("leak-supply", supply)):
        if far is not None and far != gate:
            edit = drawn(f"{q}.{name}", *LEAK_OHM)
            yield Hypothesis(f"leak:{q}:{far}", "leak", f"gate:{gate}", (q, gate, far), 1.0, edit)


def _battery(part: Part, battery: bool, end_v: float) -> Iterator[Hypothesis]:
    b, leads = part.name, "leads"
    if battery:

        def flat(settings: Settings, draw: Draw) -> Settings:
            return {f"{b}.emf": end_v * draw(*FLAT), f"{b}.inside": 50.0 * draw(0.3, 3.0)}

        yield Hypothesis(f"flat:{b}", "flat", "battery", (b,), 1.0, flat)
    yield Hypothesis(f"reversed_battery:{b}", "reversed_battery", "battery", (b,), 1.0, times(f"{b}.emf", -1.0))
    yield Hypothesis(f"open:{b}.plus", "open", leads, (b, "plus"), 1.0, set_to(f"{b}.plus", OPEN_OHM))
    yield Hypothesis(
        f"missing_ground:{b}.minus", "missing_ground", leads, (b, "minus"), 1.0, set_to(f"{b}.minus", OPEN_OHM)
    )
    for lead in ("plus", "minus"):
        yield Hypothesis(f"joint:{b}.{lead}", "joint", leads, (b, lead), 1.0, drawn(f"{b}.{lead}", *JOINT_OHM))
    yield Hypothesis(f"switch:{b}", "switch", "switch", (b,), 1.0, drawn(f"{b}.short", *SHORT_OHM))


def _diode(name: str | None, battery: Part) -> Iterator[Hypothesis]:
    """Of the polarity diode. Open it is the same circuit as a lead without contact, and is looked for there."""
    if name is None:
        return
    spot = f"part:{name}"
    yield Hypothesis(f"open:{name}", "open", "leads", (name,), 1.0, set_to(f"{battery.name}.plus", OPEN_OHM))
    yield Hypothesis(f"reversed_diode:{name}", "reversed_diode", spot, (name,), 1.0, set_to(f"{name}.turned", 1.0))
    yield Hypothesis(f"shorted_diode:{name}", "shorted_diode", spot, (name,), 1.0, drawn(f"{name}.beside", *SHORT_OHM))
    yield Hypothesis(f"missing_diode:{name}", "missing_diode", spot, (name,), 1.0, set_to(f"{name}.beside", SOUND_OHM))


def _jack(network: FaultNetwork) -> Iterator[Hypothesis]:
    short = bridge_spot(network.jack, GROUND)
    yield Hypothesis("jack:short", "jack", short, ("jack",), 1.0, drawn("jack.short", *SHORT_OHM))
    yield Hypothesis("jack:open", "jack", "jack", ("jack",), 1.0, set_to("jack.contact", OPEN_OHM))
    yield Hypothesis("joint:jack.contact", "joint", "jack", ("jack", "tip"), 1.0, drawn("jack.contact", *JOINT_OHM))
    yield Hypothesis("joint:jack.sleeve", "joint", "jack", ("jack", "sleeve"), 1.0, drawn("jack.sleeve", *JOINT_OHM))
    yield Hypothesis(
        "missing_ground:jack.sleeve", "missing_ground", "jack", ("jack", "sleeve"), 1.0, set_to("jack.sleeve", OPEN_OHM)
    )


def _cable() -> Iterator[Hypothesis]:
    yield Hypothesis("cable:open", "cable", "cable", ("cable",), 1.0, set_to("cable.core", OPEN_OHM))
    yield Hypothesis("cable:short", "cable", "cable", ("cable",), 1.0, drawn("cable.short", *SHORT_OHM))
    yield Hypothesis("joint:cable", "joint", "cable", ("cable", "tip"), 1.0, drawn("cable.core", *JOINT_OHM))


def _disc(network: FaultNetwork) -> Iterator[Hypothesis]:
    names = network.sources
    for source in names:
        suffix = "" if len(names) == 1 else f":{source}"
        drive = f"{source}.drive"
        yield Hypothesis(f"disc:dead{suffix}", "disc", "disc", ("disc",), 1.0 / len(names), times(drive, 1e-9))

        def weaken(settings: Settings, draw: Draw, drive: str = drive) -> Settings:
            return {drive: settings[drive] * draw(*DEPOLARISED)}

        yield Hypothesis(f"disc:depolarised{suffix}", "disc", "disc", ("disc",), 1.0 / len(names), weaken)
    yield Hypothesis("disc:short", "disc", bridge_spot(PICKUP, GROUND), ("disc",), 1.0, drawn("disc.short", *SHORT_OHM))
    yield Hypothesis("disc:open", "disc", "disc", ("disc", "hot"), 1.0, set_to("disc.hot", OPEN_OHM))
    yield Hypothesis(
        "missing_ground:disc.cold", "missing_ground", "disc", ("disc", "cold"), 1.0, set_to("disc.cold", OPEN_OHM)
    )
    for lead in ("hot", "cold"):
        yield Hypothesis(f"joint:disc.{lead}", "joint", "disc", ("disc", lead), 1.0, drawn(f"disc.{lead}", *JOINT_OHM))


def with_shared_spots(found: Sequence[Hypothesis], transistors: Sequence[Part] = ()) -> tuple[Hypothesis, ...]:
    """Shorts between the lanes of one transistor, ground apart, are looked for with one look, between its legs.

    Another short has a spot of its own only where more than one thing can make it; else it is mended at its part.
    """
    legs = {
        bridge_spot(*pair): f"legs:{part.name}"
        for part in reversed(transistors)
        for pair in combinations(part.nodes, 2)
        if GROUND not in pair
    }
    return tuple(_shared_bridges([replace(each, spot=legs.get(each.spot, each.spot)) for each in found]))


def _shared_bridges(found: Sequence[Hypothesis]) -> Iterator[Hypothesis]:
    for each in found:
        if each.spot.startswith("bridge:") and each.parts and sum(other.spot == each.spot for other in found) == 1:
            first = each.parts[0]
            spot = f"transistor:{first}" if each.kind == "dead" else f"part:{first}"
            each = replace(each, spot="jack" if first == "jack" else "disc" if first == "disc" else spot)
        yield each
