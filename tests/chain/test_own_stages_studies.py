"""Stages of a contributor's own, two transistors or other names, through every study; edges against other routes."""

import json
import os
import re
from collections.abc import Iterator

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.stages import Stage
from piezolab.circuit.elements import GROUND, Resistor, VoltageSource
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.transient import transient
from piezolab.pages.how_loud_before_it_clips.chapter import cause_words
from piezolab.pages.kit.sentences import not_working
from piezolab.studies.added_harmonics import distortion, transfer_curve
from piezolab.studies.advice import hiss_advice
from piezolab.studies.bias import bias
from piezolab.studies.choosing.best_resistor import best_resistor
from piezolab.studies.choosing.spread import spread
from piezolab.studies.fading_battery import battery, fading
from piezolab.studies.figures import figures
from piezolab.studies.inputs import compare_inputs
from piezolab.studies.levels import levels
from piezolab.studies.linear import LinearChain
from piezolab.studies.matters import effects
from piezolab.studies.more_room import more_room
from piezolab.studies.output import output_corner
from piezolab.studies.phantom import FEED_OHM, phantom
from piezolab.studies.plugging import plugging, remedies
from piezolab.studies.several_transistors import GATE_A, edges_of_several
from piezolab.studies.shopping import other_types, shopping
from piezolab.studies.stage_lines import rest_line
from piezolab.studies.swing import CUT_OFF_PART, Edge, swing
from piezolab.studies.transistor_curves import curves
from tests.chain.own_stages import NoCapacitor, OtherNames, SunkFollower, Tandem, known

POWERED = (SunkFollower, Tandem, OtherNames, NoCapacitor)
KEYS = [stage.key for stage in POWERED]
PAIRS = {
    "over a sink": {"stage": "sunk"},
    "over a weak sink": {"stage": "sunk", "sink_r": 1e3, "bleed_r": 10e3},
    "gain stage and follower": {"stage": "tandem"},
    "gain stage and follower, low input": {"stage": "tandem", "second_r": 3e3, "drain_r": 6.8e3, "input_r": 2e3},
}


@pytest.fixture(autouse=True)
def registered(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[type[Stage], ...]]:
    if not os.environ.get("PIEZOLAB_LONG"):  # how many parts are drawn of each other type is no matter here
        monkeypatch.setattr("piezolab.studies.choosing.other_types._PARTS", 20)
    with known(*POWERED):
        yield POWERED


def ramps(chain: SignalChain, far: np.ndarray, sign: int, periods: int = 24, steps: int = 100) -> list[Edge | None]:
    """What begins first on one side of sines that rise slowly to `far` volts, by the network in the time domain."""
    linear = LinearChain.of(chain.values)
    network = linear.assembly.network
    time = np.arange(periods * steps + 1) / steps / 1000.0
    envelope = far[:, None] * time / time[-1]
    wave = envelope * np.sin(2 * np.pi * 1000 * time)
    run = transient(network, time, {name: share * wave for name, share in linear.assembly.drive.items()})
    found: list[list[Edge]] = [[] for _ in far]
    for name, q in run.jfets.items():
        model = network[name].model
        knee = model.thermal_voltage * np.log1p(GATE_A / model.saturation_current)
        for cause, begun in (
            ("cut-off", q.i_channel < CUT_OFF_PART * linear.point.jfets[name].i_channel),
            ("triode", q.v_ds < q.v_ds_sat),
            ("gate", q.v_gs > knee),
        ):
            for n, there in enumerate(begun & (np.sign(wave) == sign)):
                if there.any():
                    found[n].append(Edge.at(name, cause, sign * envelope[n, np.argmax(there)]))
    return [min(each, key=lambda edge: min(edge.rising, edge.falling), default=None) for each in found]


@pytest.mark.parametrize("name, sign", [*((name, -1) for name in PAIRS), ("over a sink", 1), ("over a weak sink", 1)])
def test_first_edges_against_the_time_domain(name: str, sign: int) -> None:
    """A rising sine's first clipped peak, to a period of the ramp; on the far side only where it is not much further,
    since what was clipped on the near side has charged the capacitors by then."""
    chain = SignalChain(PAIRS[name])
    side = "rising" if sign > 0 else "falling"
    first = min(swing(LinearChain.of(chain.values)).edges, key=lambda edge: float(getattr(edge, side)))
    edge = float(getattr(first, side))
    there, short = ramps(chain, np.array([1.12, 0.93]) * edge, sign)
    assert short is None
    assert there is not None and (there.transistor, there.cause) == (first.transistor, first.cause)
    assert 0.95 * edge <= getattr(there, side) <= 1.07 * edge


def test_edges_of_a_follower_over_a_sink_in_closed_form() -> None:
    """lambda = 0: V_GS of the follower stands still. A square-law transistor leaves saturation where its drain is
    V_GS(off) below its gate: the follower with its gate at 9 V - 2 V, the sink, its gate at ground, at 2 V."""
    chain = SignalChain(
        stage="sunk", sink_r=1e3, jfet_idss=6e-3, jfet_vgsoff=-2, jfet_lambda=0, jfet_ig=0, jfet_ciss=0.1e-12,
        jfet_crss=0, pickup_c=500e-9, lead_m=0, cable_m=0, input_c=0, input_r=1e9, bleed_r=1e8, pickup_loss=0,
    )  # fmt: skip
    linear = LinearChain.of(chain.values)
    edges = {(e.transistor, e.cause): e for e in swing(linear).edges}
    gate, out = (float(linear.point.voltage(node)) for node in ("pickup", "source"))
    assert edges["Q1", "triode"].rising == pytest.approx(9 - 2 - gate, rel=1e-3)
    assert edges["Q2", "triode"].falling == pytest.approx(out - 2, rel=1e-3)
    assert edges["Q1", "triode"].falling == edges["Q2", "triode"].rising == np.inf


@pytest.mark.parametrize("query", [{}, {"return": "tap"}, {"stage": "gain", "drain_r": 4.7e3}, {"stage": "gain"}])
def test_one_transistor_by_the_way_for_several(query: dict) -> None:
    """Both ways to an edge agree; far beyond a conducting gate only one of them, which has its current, finds more."""
    linear = LinearChain.of(SignalChain(query).values)
    for one, other in zip(swing(linear).edges, edges_of_several(linear), strict=True):
        assert (one.transistor, one.cause) == (other.transistor, other.cause)
        for side in ("rising", "falling"):
            if np.isfinite(getattr(one, side)):
                assert getattr(other, side) == pytest.approx(float(getattr(one, side)), rel=2e-3)


def test_a_batch_of_pairs_gives_what_its_members_give() -> None:
    chain = SignalChain(stage="tandem")
    drain_r = np.array([2.2e3, 3.3e3, 6.8e3])
    many = swing(LinearChain.of(chain.values.but(drain_r=drain_r)))
    for k, ohm in enumerate(drain_r):
        one = swing(LinearChain.of(chain.but(drain_r=float(ohm)).values))
        assert many.up[k] == pytest.approx(float(one.up), rel=1e-4)
        assert many.down[k] == pytest.approx(float(one.down), rel=1e-4)
        assert (many.cause[k], many.transistor[k]) == (one.cause, one.transistor)


def test_opposed_discs_never_clip_a_pair() -> None:
    assert swing(LinearChain.of(SignalChain(stage="tandem", discs="2px").values)).headroom == np.inf


@pytest.mark.parametrize("key", KEYS)
def test_every_figure(key: str) -> None:
    found = figures(SignalChain(stage=key))
    assert all(found[group] for group in ("loading", "bias", "response", "output", "noise", "hum", "levels", "battery"))
    assert found["bias"]["region"] == "saturation" and found["levels"]["clip_input_v_peak"] > 0
    json.dumps(found, allow_nan=False)


@pytest.mark.parametrize("key", KEYS)
def test_every_study(key: str) -> None:
    chain = SignalChain(stage=key, play_v=0.05)
    of, bent, curve = levels(chain), distortion(chain), transfer_curve(chain)
    assert np.all(np.diff(bent.added) > 0)  # the harder, the more harmonics
    inner = np.abs(curve.pickup_v) < 0.02 * of.clip_input_v_peak
    assert curve.load_v[inner] == pytest.approx(curve.straight_v[inner], rel=0.02, abs=1e-6)
    life, faded = battery(chain), fading(chain)
    assert life.life_h > 0 and np.all(np.isfinite(faded.gain_1khz)) and np.all(faded.bias.saturated[:5])
    line, q = rest_line(assemble(chain.values).network), LinearChain.of(chain.values).transistor
    assert line.v_ds - line.r_ds * q.i_d == pytest.approx(float(q.v_ds), abs=1e-4)
    assert curves(chain).cloud.works.shape == (400,)
    own = {control.key for control in chain.topology.controls}
    for change in more_room(chain):
        gained = float(levels(chain.but(change.changes)).input_headroom_db - of.input_headroom_db)
        assert change.more_db == pytest.approx(gained) and gained > 0
        assert set(change.changes) <= own | {"pad"} or change.name == "follower"
    for step in hiss_advice(chain).steps:
        assert "stage" in step.changes or set(step.changes) & {"gate_r", "bypass_c"} <= own
    assert compare_inputs(chain) and shopping(chain) and isinstance(other_types(chain), tuple)
    assert {effect.part for effect in effects(chain)} >= set(assemble(chain.values).transistors)
    assert 0 < spread(chain, size=100).fits_each["works"] <= 1


def test_words_say_which_transistor() -> None:
    starved = SignalChain({"stage": "sunk", "return": "ground"})  # twins, gates alike: nothing is left for the sink
    assert not_working(bias(starved)).startswith("the sink transistor Q2 needs more than")
    assert not bias(starved).works and bias(starved).region == "saturation"
    chain = SignalChain(stage="tandem")
    of = levels(chain)
    assert (of.clip_cause, of.clip_transistor) == ("triode", "Q2")
    assert "the second transistor Q2 runs out of voltage" in cause_words(chain, "triode", "Q2")
    assert cause_words(SignalChain(), "triode", "Q1").startswith("the transistor runs out")
    assert not re.search("Q[12]", not_working(bias(SignalChain(stage="gain", drain_r=1e6))))


def test_solved_backwards_looks_for_the_resistor_that_the_stage_names() -> None:
    found = best_resistor(SignalChain(stage="sunk"))
    assert found.feasible and set(found.changes) == {"sink_r"}
    then = bias(SignalChain(stage="sunk", **found.changes))
    assert then.works and 0.1e-3 <= then.i_d <= 1e-3
    assert best_resistor(SignalChain(stage="renamed")) is None


# -- output capacitors of other names, and none -------------------------------------------------------------------
def test_output_capacitors_are_found_by_what_they_do() -> None:
    names = {key: [part.name for part in assemble(SignalChain(stage=key).values).coupling]
             for key in ("follower", "gain", "direct", *KEYS)}  # fmt: skip
    assert names == {
        "follower": ["C_out"], "gain": ["C_out"], "direct": [], "sunk": ["C_out"], "tandem": ["C_out"],
        "renamed": ["C_feed"], "straight": [],
    }  # fmt: skip


def test_plugging_in_by_hand() -> None:
    """4.7 uF charge through 220 kohm; plugged in, 220 ohm and 1 Mohm lie beside it."""
    chain = SignalChain(stage="renamed", temp_c=25)
    found = plugging(chain)
    rest = float(LinearChain.of(chain.values).point.voltage("tail"))
    leak = 0.1 * max(0.01 * 4.7e-6 * rest, 3e-6)
    both = 1 / (1 / 220e3 + 1 / (1e6 + 220))
    assert found.rest_v == pytest.approx(rest) and found.leak_a == pytest.approx(leak)
    assert found.dc_v == pytest.approx(leak * both * 1e6 / (1e6 + 220), rel=1e-3)
    assert found.step_v == pytest.approx(leak * 220e3, rel=1e-2)  # what is left of the charge is nothing after a minute
    assert found.switch_on_s == pytest.approx(4.7e-6 * both * np.log(found.switch_on_v / 10e-3), rel=5e-3)
    assert {remedy.key for remedy in remedies(chain)} <= {"feed_c", "pull_r"} and remedies(chain)
    corner = output_corner(chain)
    assert corner.capacitor == 4.7e-6 and corner.load_ohm == pytest.approx(both, rel=1e-3)


def test_phantom_power_by_hand() -> None:
    """In the end no current flows through the capacitor: it holds the divider's voltage less the stage's."""
    found = phantom(SignalChain(stage="renamed"))
    tail = float(LinearChain.of(SignalChain(stage="renamed").values).point.voltage("tail"))
    assert found.capacitor_v == pytest.approx(tail - 48 * 220e3 / (220e3 + 220 + FEED_OHM), rel=1e-6)
    assert found.node == "tail" and not found.capacitor_safe


def test_without_a_capacitor_the_stage_stands_on_the_jack() -> None:
    chain = SignalChain(stage="straight")
    found, assembly = plugging(chain), assemble(chain.values)
    assert not found.blocked and remedies(chain) == () and output_corner(chain) is None
    assert found.dc_v == pytest.approx(float(operating_point(assembly.network).voltage("jack")))
    fed = assembly.network.without(*assembly.names("cable", "input")).plus(
        VoltageSource("V", "feed", GROUND, 48.0), Resistor("R", "feed", "jack", FEED_OHM)
    )
    hit = phantom(chain)
    assert not hit.blocked and hit.stage_v == pytest.approx(float(operating_point(fed).voltage("jack")))
    assert hit.peak_a == pytest.approx((48 - hit.stage_v) / FEED_OHM)
