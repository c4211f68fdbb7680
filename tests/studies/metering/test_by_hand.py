"""Readings to expect against equations written by hand, for random builds: two routes for every kind of reading.

Here every node's currents are written down as Kirchhoff has them, with the square law, two gate junctions, the diode,
the meter's own resistance and each ohms range as a voltage behind a resistor, and `scipy.optimize` finds the voltages;
none of the package's networks, elements or transistor laws takes part; of the light only its resistor is taken as
printed. A seeded dozen of builds; 60 behind PIEZOLAB_LONG=1. All 60 agree: ohms to 0.01 % on every range, volts to
0.002 % and, behind the diode, 0.2 mV.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from math import exp, expm1, inf, log, log1p, tanh

import numpy as np
import pytest
from scipy.optimize import brentq, root

from piezolab.chain import SignalChain
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.led import led_if_lit
from piezolab.studies.metering.board_under_meter import BoardUnderMeter, under_meter
from piezolab.studies.metering.clip_contacts import clip_ohms
from piezolab.studies.metering.expected import jig_volts, meter_ohms, meter_volts, transistor_check

SEEDS = range(60 if os.environ.get("PIEZOLAB_LONG") else 12)
V_T = 1.380649e-23 * 298.15 / 1.602176634e-19  # kT/q at 25 degC, V; the two constants are exact in the SI
GATE_A = 1e-14  # saturation current of a gate junction: from memory
DIODE_A, DIODE_LEAK_A = 1e-6, 1e-5  # a 1 A Schottky diode: common practice, no source
AIR_OHM = 1e11
#: Meters as they are sold, with their ohms ranges written out: common practice, no source.
METERS: list[tuple[dict[str, float], list[float]]] = [
    ({"counts": 2000, "ohm_max": 20e6}, [200, 2e3, 20e3, 200e3, 2e6, 20e6]),
    ({"counts": 2000, "ohm_max": 2e6, "meter_ohm": 1e6, "low_v": 3.0, "low_a": 5e-4, "test_v": 0.3},
     [200, 2e3, 20e3, 200e3, 2e6]),
    ({"counts": 4000, "ohm_max": 40e6, "low_v": 1.2, "test_v": 0.45}, [400, 4e3, 40e3, 400e3, 4e6, 40e6]),
    ({"counts": 6000, "ohm_max": 60e6, "meter_ohm": 11e6, "low_v": 2.5, "low_a": 6e-4, "test_v": 0.6},
     [600, 6e3, 60e3, 600e3, 6e6, 60e6]),
]  # fmt: skip
LIGHTS = {"none": 0.0, "red": 1.8, "green": 2.0, "blue": 2.8}  # volts that each drops: common practice, no source
USUAL = {"low_v": 2.8, "low_a": 1e-3, "test_v": 0.4, "meter_ohm": 10e6}
Law = Callable[[float], float]


class Fet:
    """The square law with its two gate junctions; beta from I_DSS at the V_DS where it was measured."""

    def __init__(self, c: dict[str, float]) -> None:
        self.off, self.stretch, self.leak = -abs(c["jfet_vgsoff"]), c["jfet_lambda"], c["jfet_ig"]
        self.beta = c["jfet_idss"] / ((1 + self.stretch * c["jfet_vds"]) * self.off**2)

    def channel(self, v_gs: float, v_ds: float) -> float:
        if v_ds < 0:  # the ends change places
            return -self.channel(v_gs - v_ds, -v_ds)
        over = max(v_gs - self.off, 0.0)
        pinched = over**2 if v_ds >= over else 2 * over * v_ds - v_ds**2
        return self.beta * pinched * (1 + self.stretch * v_ds)

    def currents(self, g: float, d: float, s: float) -> tuple[float, float, float]:
        """Out of the nodes gate, drain and source into the transistor, A."""
        to_source = GATE_A * junction((g - s) / V_T)
        to_drain = GATE_A * junction((g - d) / V_T) + self.leak * tanh((g - d) / (2 * V_T))
        along = self.channel(g - s, d - s)
        return to_source + to_drain, along - to_drain, -along - to_source


def junction(x: float) -> float:
    """exp(x) - 1, straight beyond what any current here reaches, so that a bad guess stays finite."""
    return expm1(x) if x < 40 else exp(40) * (x - 39) - 1


def solved(
    wires: Sequence[tuple[str, str, float]], laws: Sequence[tuple[str, str, Law]], fet: Fet,
    legs: tuple[str, str, str], held: tuple[str, float] | None = None, near: dict[str, float] | None = None,
) -> dict[str, float]:  # fmt: skip
    """Node voltages at which no current is left over anywhere; laws: current from a to b by its voltage.

    held: a node at a known voltage; near: a solution of nearly the same. `drawn` of the answer is the current out of
    what holds the node, A.
    """
    fixed = {"ground": 0.0, **dict([held] if held else [])}
    nodes = sorted({*legs, *(n for a, b, _ in (*wires, *laws) for n in (a, b))} - fixed.keys())
    every = [*nodes, *fixed]
    at = {node: n for n, node in enumerate(every)}
    siemens = np.zeros((len(every), len(every)))
    for a, b, ohm in [*wires, *((node, "ground", AIR_OHM) for node in every if node != "ground")]:
        one, other = at[a], at[b]
        siemens[[one, other], [one, other]] += 1 / ohm
        siemens[one, other] -= 1 / ohm
        siemens[other, one] -= 1 / ohm
    weight = np.diag(siemens)[: len(nodes)].copy()
    for node in set(legs) & set(nodes):
        weight[at[node]] += 2 * fet.beta * abs(fet.off)
    known = np.array(list(fixed.values()))

    def left_over(volt: np.ndarray, helped: float = 0.0) -> np.ndarray:
        volt = np.concatenate([volt, known])
        out = siemens @ volt + helped * volt
        for a, b, law in laws:
            ampere = law(float(volt[at[a]] - volt[at[b]]))
            out[at[a]] += ampere
            out[at[b]] -= ampere
        for node, ampere in zip(legs, fet.currents(*(float(volt[at[leg]]) for leg in legs)), strict=True):
            out[at[node]] += ampere
        return out

    def step(volt: np.ndarray, helped: float) -> np.ndarray:
        rise = 1e-6 * np.eye(len(nodes))
        ends = [(left_over(volt + e, helped), left_over(volt - e, helped)) for e in rise]
        slope = np.stack([(up - down)[: len(nodes)] / 2e-6 for up, down in ends], axis=-1)
        return np.linalg.solve(slope, left_over(volt, helped)[: len(nodes)])

    def newton(volt: np.ndarray, helped: float, times: int) -> tuple[np.ndarray, float]:
        moved = np.inf
        for _ in range(times):
            by = step(volt, helped)
            moved = float(np.max(np.abs(by)))
            volt = volt - by * min(1.0, 0.3 / max(moved, 1e-30))
            if moved < 1e-10:
                break
        return volt, moved

    def eased(volt: np.ndarray, helps: Sequence[float], times: int) -> tuple[np.ndarray, float]:
        """With siemens from every node to ground, taken away step by step."""
        moved = np.inf
        for helped in helps:
            if times < 20:
                volt = root(lambda v, helped=helped: left_over(v, helped)[: len(nodes)] / (weight + helped), volt,
                            options={"maxfev": 150}).x  # fmt: skip
            volt, moved = newton(volt, helped, times)
        return volt, moved

    begin = np.full(len(nodes), 0.1)
    tries = [lambda: newton(np.array([near[node] for node in nodes]), 0.0, 12)] if near else []
    tries += [lambda: eased(begin, (1e-3, 1e-6, 0.0), 8),
              lambda: eased(begin, (*10.0 ** np.arange(-2.0, -13.0, -0.5), 0.0), 80)]  # fmt: skip
    volt, moved = begin, np.inf
    for attempt in tries:
        volt, moved = attempt()
        if moved < 1e-8:
            break
    assert moved < 1e-8, "no node voltages found by hand"  # the proof: Newton's own step has become nothing
    return dict(zip(every, [*volt, *known], strict=True)) | {"drawn": float(left_over(volt)[-1])}


class Build:
    """A random chain with the board and the meter, and its circuit written out by hand."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)

        def ohm(low: float, high: float) -> float:
            return float(np.exp(rng.uniform(np.log(low), np.log(high))))

        gain = bool(rng.integers(2))
        c: dict[str, float] = {
            "jfet_idss": ohm(4e-4, 2e-2), "jfet_vgsoff": ohm(0.4, 4.0), "jfet_lambda": rng.uniform(0, 0.03),
            "jfet_vds": 9.0, "jfet_ig": ohm(1e-12, 1e-9), "gate_r": ohm(4.7e5, 2.2e7), "source_r": ohm(220, 3.3e4),
            "drain_r": ohm(1e3, 4.7e4) if gain or rng.integers(2) else 0.0, "bleed_r": ohm(4.7e4, 1e6),
            "gate_stop": ohm(1e3, 1e5) if rng.integers(2) else 0.0, "return_part": rng.uniform(0.2, 0.8),
            "supply_r": ohm(100, 4.7e3) if rng.integers(2) else 0.0, "pickup_r": 1e9,
        }  # fmt: skip
        words = {"stage": "gain" if gain else "follower", "return": str(rng.choice(["ground", "tap", "divider"]))}
        if rng.integers(2):
            words["supply"], c["supply_v"] = "adapter", round(rng.uniform(6, 24), 1)
        self.chain = SignalChain({**c, **words, "divider_r": 2e6, "bypass_c": 0.0})
        self.c = {key: float(self.chain.values[key]) for key in (*c, "supply_v")}
        meter, self.tops = METERS[seed % len(METERS)]
        self.usual = {**USUAL, **meter}
        methods = ("stripboard", "tape", "wire", "breadboard")
        self.built = BoardAsBuilt(
            method=methods[seed // 2 % 4], diode="none" if seed % 3 == 1 else "1N5817",
            switch=("toggle", "ring")[seed % 2], led=tuple(LIGHTS)[seed // 3 % 4], **meter,
        )  # fmt: skip
        self.light = led_if_lit(self.chain, self.built.led, self.built.guarded)
        self.fet = Fet(self.c)
        self.draw = rng
        self._wire(words["return"])

    def _wire(self, back: str) -> None:
        c = self.c
        self.drain = "drain" if c["drain_r"] else "supply"
        self.gate = "gate" if c["gate_stop"] else "pickup"
        self.plus = "battery" if c["supply_r"] else "supply"
        self.legs = (self.gate, self.drain, "source")
        self.wires = [("jack", "ground", c["bleed_r"]), ("pickup", "ground", c["pickup_r"])]
        for a, b, key in ((self.plus, "supply", "supply_r"), ("supply", self.drain, "drain_r"),
                          ("pickup", self.gate, "gate_stop")):  # fmt: skip
            self.wires += [(a, b, c[key])] if c[key] else []
        part = c["return_part"]
        if back == "tap":
            self.wires += [("source", "tap", (1 - part) * c["source_r"]), ("tap", "ground", part * c["source_r"])]
        else:
            self.wires.append(("source", "ground", c["source_r"]))
        if back == "divider":
            self.wires += [("supply", "divider", (1 - part) * 2e6), ("divider", "ground", part * 2e6)]
        self.wires.append(("pickup", {"ground": "ground", "tap": "tap", "divider": "divider"}[back], c["gate_r"]))

    def under_meter(self) -> BoardUnderMeter:
        return under_meter(self.chain, self.built.guarded, size=3, led=self.light)

    def shining(self) -> list[tuple[str, str, Law]]:
        """The light where it has volts enough: its drop behind its resistor."""
        if self.light is None:
            return []
        drop, ohm = LIGHTS[self.built.led], self.light.ohm
        return [(self.plus, "ground", lambda volt: max(volt - drop, 0.0) / ohm)]

    def fed(self, lane: str, ohm: float) -> float:
        """Volts at a lane with the supply on and a meter of `ohm` there; the diode by Shockley's law."""
        feed, wires = self.c["supply_v"], [*self.wires, *([(lane, "ground", ohm)] if lane != "clip" else [])]

        near: dict[str, float] = {}

        def on_board(volt: float) -> dict[str, float]:
            near.update(solved(wires, self.shining(), self.fet, self.legs, (self.plus, volt), dict(near)))
            return near

        def before(volt: float) -> float:
            """What has to be at the clip for `volt` on the board."""
            ampere = on_board(volt)["drawn"]
            drop = V_T * log1p(max(ampere, 0.0) / DIODE_A) if self.built.guarded else 0.0
            return volt + drop + 0.05 * ampere

        volt = brentq(lambda v: before(v) - feed, feed - 1.0, feed, xtol=1e-9)
        found = on_board(volt)
        return (feed - 0.05 * found["drawn"]) * ohm / (ohm + 0.05) if lane == "clip" else found[lane]

    def on_display(self, resistance: Callable[[float, float], float], level: float = 1.0, above: int = 0) -> float:
        """On the lowest range that shows a number, or some above it: `resistance` of a voltage behind a resistor."""
        u, left = self.usual, above
        for n, top in enumerate(self.tops):
            volt, own = (u["test_v"], top / 2) if n else (u["low_v"], u["low_v"] / u["low_a"])
            seen = resistance(level * volt, own)
            if seen <= top:
                if not left or top == self.tops[-1]:
                    return seen
                left -= 1
        return inf

    def ohms(
        self, red: str, black: str, more: Sequence[tuple[str, str, Law]] = (), level: float = 1.0, above: int = 0
    ) -> float:
        """Ohms between two lanes, supply off."""

        def resistance(volt: float, own: float) -> float:
            laws = [*more, (red, black, lambda v: (v - volt) / own)]
            found = solved(self.wires, laws, self.fet, self.legs)
            across = found[red] - found[black]
            return across * own / (volt - across) if volt - across > 1e-12 else inf

        return self.on_display(resistance, level, above)


@pytest.fixture(scope="module", params=SEEDS)
def build(request: pytest.FixtureRequest) -> Build:
    return Build(request.param)


def alike(ours: float, by_hand: float, rel: float) -> bool:
    return ours == by_hand if inf in (ours, by_hand) else abs(ours - by_hand) <= rel * abs(by_hand)


def test_volts_of_every_lane(build: Build) -> None:
    near = 2e-4 if build.built.guarded else 2e-6  # the diode's drop is found in turns, to 0.1 mV
    for row in meter_volts(build.under_meter(), build.built.meter):
        assert row.expected.low <= row.expected.typical <= row.expected.high
        without = [(1e30, row.unloaded)] if row.lane in ("pickup", "source") else []
        for ohm, ours in ((build.usual["meter_ohm"], row.expected.typical), *without):
            assert ours == pytest.approx(build.fed(row.lane, ohm), rel=2e-5, abs=near), (row.lane, ohm)


def test_ohms_between_lanes_both_ways(build: Build) -> None:
    board = build.under_meter()
    pairs = [tuple(build.draw.choice(board.lanes, 2, replace=False)) for _ in range(2)]
    pairs = [each for a, b in pairs for each in ((str(a), str(b)), (str(b), str(a)))]
    for row in meter_ohms(board, build.built.meter, pairs):
        by_hand = build.ohms(row.red, row.black)
        assert alike(row.expected.typical, by_hand, 1e-4), (row, by_hand)


def test_ohms_at_the_clip(build: Build) -> None:
    for (red, black), ours in zip((("clip", "ground"), ("ground", "clip")),
                                  clip_ohms(build.under_meter(), build.built.meter), strict=True):  # fmt: skip
        scale = DIODE_A if red == "clip" else DIODE_LEAK_A
        way: Law = (lambda v, scale=scale: scale * junction(v / V_T)) if build.built.guarded else (lambda v: v / 0.05)
        by_hand = build.ohms(red, black, [("clip", build.plus, way)])
        assert alike(ours.typical, by_hand, 1e-4), (red, ours, by_hand)
        for level, above in ((0.8, 1), (1.2, 0)) if build.built.guarded else ():  # another meter, a range too high
            other = build.ohms(red, black, [("clip", build.plus, way)], level, above)
            assert ours.low * (1 - 1e-4) <= other <= ours.high * (1 + 1e-4), (red, level, ours, other)


def test_the_transistor_by_itself_and_in_the_jig(build: Build) -> None:
    fet, found = build.fet, transistor_check(build.chain, build.built.meter)

    def across(sign: float) -> float:
        def resistance(volt: float, own: float) -> float:
            def left(v: float) -> float:
                return (volt - v) / own - sign * fet.currents(0.0, sign * v, 0.0)[1] - v / AIR_OHM

            v = brentq(left, 0.0, volt, xtol=1e-15)
            return v * own / (volt - v)

        return build.on_display(resistance)

    assert alike(found.channel.typical, across(1.0), 1e-4)
    assert alike(found.exchanged.typical, across(-1.0), 1e-4)
    assert found.junction.typical == pytest.approx(V_T * log(1e-3 / GATE_A), rel=1e-3)
    meter = build.usual["meter_ohm"]
    for ohm, ours in zip((330.0, 4.7e3), jig_volts(build.chain, 330.0, 4.7e3, build.built.meter), strict=True):
        feed = build.c["supply_v"]
        v = brentq(lambda v, feed=feed, ohm=ohm: fet.channel(-v, feed - v) - v / ohm - v / meter, 0.0, feed)
        assert ours.typical == pytest.approx(v, rel=1e-5)


def test_the_hand_written_route_notices_a_wrong_reading() -> None:
    """A check that can fail: another gate resistor, another range."""
    build = Build(0)
    (right,) = meter_ohms(build.under_meter(), build.built.meter, [("jack", "ground")])
    assert alike(right.expected.typical, build.ohms("jack", "ground"), 1e-4)
    build.wires[0] = ("jack", "ground", build.c["bleed_r"] * 1.001)
    assert not alike(right.expected.typical, build.ohms("jack", "ground"), 1e-4)
