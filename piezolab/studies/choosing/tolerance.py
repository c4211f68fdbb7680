"""Builds of a chain as real parts make them: drawn parts, rooms and batteries, and the band of their curves.

Resistors and capacitors lie anywhere within their tolerance (evenly, common practice, no source), the transistor is
drawn from its type's population unless it was measured, the room's temperature lies evenly within TEMP_K of the
chain's, the battery's voltage evenly between fresh and spent: that is a moment of its life taken blindly, since
`fading_battery` lets it fall in a straight line. All are independent of each other.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages.common_parts import absent
from piezolab.chain.stages.second_transistor import TYPE as SECOND_TRANSISTOR
from piezolab.chain.values import Values
from piezolab.quantity import decibels
from piezolab.studies.choosing.drawer import CAPACITOR_PERCENT, MOST_PERCENT, RESISTOR_PERCENT
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import builds

SEED = 1904
TRANSISTOR, ROOM, BATTERY = "jfet", "temp_c", "supply_v"
TEMP_K = 15.0  # warmer or colder than entered; common practice, no source
_OTHER_STREAM = 1_000_003  # added to the seed of the transistors, so that they do not follow the resistors


def check_percents(resistor_percent: float, capacitor_percent: float) -> None:
    """Raises ValueError on a tolerance outside 0 to 50 %."""
    for what, value in (("resistor tolerance", resistor_percent), ("capacitor tolerance", capacitor_percent)):
        if not 0 <= value <= MOST_PERCENT:
            raise ValueError(f"{what}: {value} % is out of range; allowed is 0 to {MOST_PERCENT:g} %.")


def drawn(
    chain: SignalChain,
    resistor_percent: float,
    capacitor_percent: float,
    size: int,
    seed: int,
    *,
    room_k: float = 0.0,
    battery: bool = False,
) -> tuple[Values, Mapping[str, tuple[str, ...]]]:
    """Builds of the chain as a batch (size,), and what was drawn: independent input -> the link keys that it moves.

    Inputs are the parts by their key, `jfet` the transistor, `second` another one, with room_k (K) above 0 `temp_c`,
    with `battery` `supply_v`. Divider and tapped source resistor are two resistors, drawn apart, but one input. The
    same seed gives the same builds.
    """
    rng = np.random.default_rng(seed)
    values = chain.values
    inputs: dict[str, tuple[str, ...]] = {}
    changes: dict[str, np.ndarray] = {}

    def factor(percent: float) -> np.ndarray:
        return 1 + 1e-2 * percent * rng.uniform(-1.0, 1.0, size)

    by_key: dict[str, str] = {}
    for part in assemble(values).where("board", "supply"):
        if part.kind in ("resistor", "capacitor") and part.key:
            by_key.setdefault(part.key, part.kind)
    for key, kind in by_key.items():
        if absent(values[key]):
            continue
        percent = resistor_percent if kind == "resistor" else capacitor_percent
        if key == "divider_r" or (key == "source_r" and values["return"] == "tap"):
            upper, lower = factor(percent), factor(percent)
            part = values.return_part
            whole = (1 - part) * upper + part * lower
            changes[key], changes["return_part"] = values[key] * whole, part * lower / whole
            inputs[key] = (key, "return_part")
        else:
            changes[key] = values[key] * factor(percent)
            inputs[key] = (key,)
    if chain.topology.powered and not chain.transistor_measured:
        many = builds(chain, size, seed + _OTHER_STREAM)
        for key in (TRANSISTOR, *((SECOND_TRANSISTOR,) if chain.topology.has(SECOND_TRANSISTOR) else ())):
            if not chain.measured(key):
                inputs[key] = (f"{key}_idss", f"{key}_vgsoff")
                changes |= {moved: many[moved] for moved in inputs[key]}
    if room_k > 0:
        control = all_parameters()[ROOM]
        low, high = max(chain.temp_c - room_k, control.low), min(chain.temp_c + room_k, control.high)
        changes[ROOM], inputs[ROOM] = rng.uniform(low, high, size), (ROOM,)
    ends = battery_range(chain) if battery else None
    if ends is not None:
        changes[BATTERY], inputs[BATTERY] = rng.uniform(ends[1], ends[0], size), (BATTERY,)
    return values.but(**changes), inputs


def level_band(chain: SignalChain, frequency: np.ndarray, size: int = 100, seed: int = SEED) -> np.ndarray:
    """Level of the chain's builds in dB over frequency (Hz, shape (F,)): 1st and 99th percentile, shape (2, F).

    Resistors lie within 5 %, capacitors within 20 %. A build that does not work at rest counts like any other.
    """
    values, _ = drawn(chain, RESISTOR_PERCENT, CAPACITOR_PERCENT, size, seed)
    level = decibels(LinearChain.of(values).gain(frequency))
    return np.percentile(np.maximum(level, -400.0), [1, 99], axis=0)
