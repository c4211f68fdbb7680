"""Direct voltage at the jack: what leaks through the output capacitor, and the thump when a cable is plugged in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import OUTPUT
from piezolab.circuit.small_signal import impedance
from piezolab.quantity import decibels, preferred_between
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import response

ELECTROLYTIC_FROM = 1e-6  # F; smaller output capacitors are film: common practice, no source
LEAK_PER_CV = 0.01  # A per farad and volt: the usual worst case of an electrolytic
LEAST_WORST_LEAK = 3e-6  # A
TYPICAL_PART = 0.1
WAIT_S = 60.0  # unplugged and switched on for a minute
SETTLED_V = 10e-3


@dataclass(frozen=True)
class Plugging:
    """V, A, s.

    rest_v: across the output capacitor at rest; leak_a, leak_worst_a: through it, typical and worst; dc_v,
    dc_worst_v: at the jack with cable and input connected; step_v: jump at the jack on plugging in after a
    minute unplugged; settle_s: from then until the jack is within 10 mV of where it stays; switch_on_v, switch_on_s:
    the same where the plug (or a switch) turns the stage on, its capacitor empty, the stage at rest at once: the most
    that it can be.
    """

    rest_v: float
    leak_a: float
    leak_worst_a: float
    dc_v: float
    dc_worst_v: float
    step_v: float
    settle_s: float
    switch_on_v: float
    switch_on_s: float


def leakage(farad: float, volt: float) -> tuple[float, float]:
    """Typical and worst leakage of a capacitor at a direct voltage, A: none for film, 0.01*C*V or 3 uA at worst
    for an
    electrolytic, a tenth of that typically (makers' usual guarantee; common practice, no source)."""
    if farad < ELECTROLYTIC_FROM or volt == 0:
        return 0.0, 0.0
    worst = max(LEAK_PER_CV * farad * abs(volt), LEAST_WORST_LEAK)
    return float(TYPICAL_PART * worst * np.sign(volt)), float(worst * np.sign(volt))


def plugging(chain: SignalChain) -> Plugging | None:
    """Direct voltage and thump of the chain's output; None with no stage, which passes no direct voltage."""
    if not chain.topology.powered:
        return None
    values = chain.values
    linear = LinearChain.of(values)
    network = linear.network
    coupling = network["C_out"]
    rest = float(linear.point.voltage(coupling.a))
    bleed = float(values.bleed_r)
    load = float(np.real(impedance(network.without("C_out", "R_bleed"), 1e-6, OUTPUT)))
    both = 1 / (1 / bleed + 1 / load)
    stage = network.without("C_out", "R_bleed", *linear.assembly.names("cable", "input"))
    behind = float(np.real(impedance(stage, 1e-6, coupling.a))) if coupling.a in stage.nodes else 0.0
    typical, worst = leakage(values.out_c, rest)
    # the capacitor charges through the bleed resistor while nothing is plugged in
    left = rest * bleed / (bleed + behind) * np.exp(-WAIT_S / (values.out_c * (bleed + behind)))
    before = _bounded(left + typical * bleed, rest * bleed / (bleed + behind))
    after, after_worst = (_bounded(leak * both, rest * both / (both + behind)) for leak in (typical, worst))
    far = abs(before - after)
    slow = float(values.out_c * (both + behind))
    on = rest * both / (both + behind)
    return Plugging(
        rest, typical, worst, after, after_worst, float(before), _settling(far, slow), on, _settling(abs(on), slow)
    )


def _bounded(volt: float, most: float) -> float:
    """A capacitor leaks as long as there is voltage across it: what leaks through cannot exceed a short circuit."""
    return float(volt if abs(volt) < abs(most) else most)


def _settling(far: float, slow: float) -> float:
    """Seconds until what starts `far` volts away, with a time constant of `slow` seconds, is within 10 mV."""
    return float(slow * np.log(far / SETTLED_V)) if far > SETTLED_V else 0.0


@dataclass(frozen=True)
class Remedy:
    """One change that makes plugging in quiet: jump within 10 mV.

    key, value: the setting (`out_c` in F or `bleed_r` in ohm); then: what plugging in does with it; low_note_cost_db,
    level_cost_db: what it takes from the lowest string and at 1 kHz, dB (positive is lost); low_corner_hz: of the
    whole chain with it, nan where there is none.
    """

    key: str
    value: float
    then: Plugging
    low_note_cost_db: float
    level_cost_db: float
    low_corner_hz: float


def remedies(chain: SignalChain) -> tuple[Remedy, ...]:
    """The largest smaller output capacitor (E6) and bleed resistor (E12) with which plugging in is quiet; empty where
    it is quiet already, and a remedy that does not exist is left out."""
    now = plugging(chain)
    if now is None or abs(now.step_v) <= SETTLED_V:
        return ()
    found, before = [], response(chain, np.array([1000.0]))
    for key, lowest, row in (("out_c", 1e-9, "E6"), ("bleed_r", 1e3, "E12")):
        has = float(chain.values[key])
        for value in reversed(preferred_between(lowest, has, row)):
            if value >= has or abs((then := plugging(chain.but({key: value}))).step_v) > SETTLED_V:
                continue
            after = response(chain.but({key: value}), np.array([1000.0]))
            found.append(Remedy(
                key, value, then, decibels(before.low_note_gain) - decibels(after.low_note_gain),
                decibels(before.gain_1khz) - decibels(after.gain_1khz), after.low_corner_hz,
            ))  # fmt: skip
            break
    return tuple(found)
