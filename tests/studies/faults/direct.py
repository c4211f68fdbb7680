"""The same readings by another route: the chain's own list of parts, edited by hand, solved as an ordinary network."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, PICKUP, assemble
from piezolab.chain.parts import Part, network
from piezolab.circuit.elements import Capacitor, Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import linearised, transfer
from piezolab.studies.faults.network_names import PIN_ORDERS
from piezolab.studies.faults.simulate import Tone
from piezolab.studies.metering.instrument import Meter

HUGE = 1e11


def parts_of(chain: SignalChain) -> dict[str, Part]:
    """Parts by name."""
    return {part.name: part for part in assemble(chain.values).parts}


def edited(chain: SignalChain, key: str, size: Mapping[str, float]) -> dict[str, Part]:
    """The chain's parts with the fault `key`; `size` gives a drawn value (ohm)."""
    parts = parts_of(chain)
    kind, _, what = key.partition(":")
    name = what.split(":")[0].split(".")[0]

    def bridge(a: str, b: str, ohm: float) -> None:
        parts["fault"] = Part("fault", "", "resistor", (a, b), ohm)

    if kind == "healthy":
        return parts
    if kind in ("large", "small"):
        parts[name] = replace(parts[name], value=parts[name].value * (10.0 if kind == "large" else 0.1))
    elif kind == "open" and name.startswith("R_"):
        parts[name] = replace(parts[name], value=HUGE)
    elif kind == "joint" and name.startswith("R_"):
        parts[name] = replace(parts[name], value=parts[name].value + size["ohm"])
    elif kind == "open" and name.startswith("C_"):
        del parts[name]
    elif kind == "joint" and name.startswith("C_"):
        a, b = parts[name].nodes
        parts[name] = replace(parts[name], nodes=(a, "inner"))
        bridge("inner", b, size["ohm"])
    elif kind == "bridge" and name.startswith("R_"):
        parts[name] = replace(parts[name], value=size["ohm"])
    elif kind == "lane_bridge":
        bridge(*what.split("|"), size["ohm"])
    elif kind in ("bridge", "reversed_capacitor"):
        bridge(*parts[name].nodes, size["ohm"])
    elif kind == "swapped":
        one, other = what.split("+")
        parts[one], parts[other] = (
            replace(parts[one], nodes=parts[other].nodes),
            replace(parts[other], nodes=parts[one].nodes),
        )
    elif kind == "pins":
        word = what.split(":")[1]
        order = next(o for o in PIN_ORDERS if "".join("dgs"[o.index(place)] for place in range(3)) == word)
        nodes = parts[name].nodes
        parts[name] = replace(parts[name], nodes=tuple(nodes[place] for place in order))
    elif kind == "leak":
        bridge(parts[name].nodes[1], what.split(":")[1], size["ohm"])
    elif kind == "dead" and what.endswith("channel"):
        model = parts[name].value
        parts[name] = replace(parts[name], value=replace(model, beta=model.beta * 1e-9))
    elif kind == "dead":
        leads = dict(zip(("drain", "gate", "source"), parts[name].nodes, strict=True))
        a, b = what.split(".")[1].split("-")
        bridge(leads[a], leads[b], size["ohm"])
    elif kind == "reversed_battery":
        parts[name] = replace(parts[name], value=-parts[name].value)
    else:
        raise KeyError(key)
    return parts


def volts(parts: Mapping[str, Part], lane: str, meter: Meter) -> float:
    """Direct volts from a lane to ground with the meter there."""
    whole = network(parts.values()).plus(Resistor("meter", lane, GROUND, meter.input_ohm))
    return float(operating_point(_held(whole)).voltage(lane))


def ohms(parts: Mapping[str, Part], lane: str, meter: Meter) -> float:
    """What the lowest ohms range that shows a number says, lane to ground, battery out and cable unplugged."""
    off = network(part for part in parts.values() if part.where not in ("cable", "input") and part.kind != "battery")
    found = []
    for each in reversed(meter.ohm_ranges):
        probed = _held(off.plus(VoltageSource("test", "probe", GROUND, each.volt),
                                Resistor("meter", "probe", lane, each.ohm)))  # fmt: skip
        seen = float(operating_point(probed).voltage(lane))
        found.append(each.ohm * seen / (each.volt - seen))
    fits = [ohm for ohm, each in zip(found, reversed(meter.ohm_ranges), strict=True) if ohm <= each.top]
    return fits[-1] if fits else found[0]


def tone(parts: Mapping[str, Part], lane: str, hertz: float, meter: Meter, fed: Tone) -> float:
    """Volts rms of the tone at a lane with the meter there."""
    whole = _held(network(parts.values()))
    linear = linearised(whole, operating_point(whole)).plus(
        VoltageSource("tone", "player", GROUND),
        Capacitor("test capacitor", "player", PICKUP, fed.farad),
        Resistor("meter", lane, GROUND, meter.input_ohm),
    )
    return fed.v_rms * float(np.abs(transfer(linear, hertz, "tone", lane)))


def _held(whole: Network) -> Network:
    """No node floats: a petaohm from each to ground."""
    return whole.plus(*(Resistor(f"damp {node}", node, GROUND, 1e4 * HUGE) for node in whole.nodes))
