"""Which faults a chain can have: all that were asked for, from its parts alone, with priors that add up."""

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import Stage
from piezolab.chain.stages.common_parts import model
from piezolab.chain.values import Values
from piezolab.studies.board.layout import Options, layout
from piezolab.studies.faults import Meter, Reading, Tone, diagnose, predicted
from piezolab.studies.faults.fault_network import fault_network, settings_of
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import FaultDataError, knowledge, read
from piezolab.studies.faults.making import _made, faults_of, priors
from piezolab.studies.faults.network_names import PIN_ORDERS
from tests.chain.own_stages import known


def faults(chain: SignalChain) -> dict[str, Hypothesis]:
    return {fault.key: fault for fault in faults_of(chain, fault_network(assemble(chain.values)))}


def test_every_fault_that_was_asked_for() -> None:
    found = faults(SignalChain())
    for part in ("R_G", "R_S", "R_bleed", "C_out", "C_sup"):
        for kind in ("open", "bridge", "large", "small", "joint"):
            assert f"{kind}:{part}" in found
    assert {"reversed_capacitor:C_out", "reversed_capacitor:C_sup"} <= set(found)
    assert {"swapped:R_G+R_S", "swapped:R_S+C_out"} <= set(found)
    pins = [key for key in found if key.startswith("pins:")]
    assert len(pins) == 5 and len(set(PIN_ORDERS)) == 6, "the sixth order is the right one"
    wanted = """healthy open:Q1.gate open:Q1.drain open:Q1.source joint:Q1.gate dead:Q1.gate-source dead:Q1.gate-drain
        dead:Q1.drain-source dead:Q1.channel leak:Q1:ground leak:Q1:supply missing_ground:B1.minus
        missing_ground:jack.sleeve missing_ground:disc.cold joint:B1.plus joint:jack.contact joint:cable joint:disc.hot
        jack:short jack:open cable:open cable:short flat:B1 reversed_battery:B1 switch:B1 disc:dead disc:depolarised
        disc:short disc:open"""
    assert set(wanted.split()) <= set(found)


@pytest.mark.parametrize(
    "link", [{}, {"stage": "gain"}, {"stage": "direct"}, {"return": "tap", "pad": (1e4, 1e4)}, {"discs": "2sx"}]
)
def test_priors_add_up_and_healthy_is_as_stated(link: dict[str, object]) -> None:
    found = tuple(faults(SignalChain(link)).values())
    prior = priors(found)
    assert prior.sum() == pytest.approx(1) and prior[0] == pytest.approx(0.15) and (prior > 0).all()
    by_kind: dict[str, float] = {}
    for fault, share in zip(found, prior, strict=True):
        by_kind[fault.kind] = by_kind.get(fault.kind, 0.0) + share
    if link.get("stage") != "direct":
        del by_kind["healthy"]
        assert by_kind["joint"] == max(by_kind.values()), "joints are the commonest"
        assert by_kind["pins"] > by_kind["dead"] and by_kind["reversed_capacitor"] > by_kind["switch"]


def test_a_pad_and_an_adapter() -> None:
    found = faults(SignalChain({"pad": (10e3, 10e3), "supply": "adapter"}))
    assert "open:R_pad1" in found and "flat:B1" not in found
    assert not any("swapped" in key and "pad" in key for key in found), "it is not on the board"


def test_shorts_between_the_same_lanes_share_their_spot() -> None:
    found = faults(SignalChain(stage="gain"))
    assert found["bridge:R_S"].spot == found["bridge:C_S"].spot == "bridge:ground|source"
    assert found["bridge:R_G"].spot == found["disc:short"].spot == "bridge:ground|pickup"
    assert found["bridge:R_D"].spot == "part:R_D", "nothing else lies there"


@pytest.mark.parametrize("method", ["tape", "stripboard", "wire", "breadboard"])
@pytest.mark.parametrize("kind", ["follower", "gain"])
def test_every_two_lanes_side_by_side_on_the_drawn_board_can_be_bridged(method: str, kind: str) -> None:
    chain = SignalChain(stage=kind)
    found = faults(chain)
    joined = {frozenset(key.partition(":")[2].split("|")) for key in found if key.startswith("lane_bridge:")}
    for part in assemble(chain.values).parts:
        if f"bridge:{part.name}" in found:
            joined.add(frozenset(part.nodes))
    joined |= {frozenset(("jack", GROUND)), frozenset(("pickup", GROUND))}  # jack:short, disc:short
    drawn = [lane.node for lane in layout(chain, Options(method)).lanes]
    assert all(frozenset(pair) in joined for pair in zip(drawn, drawn[1:], strict=False)), drawn
    transistor = next(part for part in assemble(chain.values).parts if part.kind == "jfet")
    assert all(frozenset(pair) in joined for pair in combinations(transistor.nodes, 2))


def test_a_bridge_between_legs_is_looked_for_before_the_transistor_is_replaced() -> None:
    table = _made(SignalChain(), Meter(), Tone(), 64)
    expected = predicted(table, "lane_bridge:pickup|source")
    readings = [Reading(kind, place, expected[f"{kind}:{place}"][1]) for kind, place in
                (("ohm", "pickup"), ("ohm", "source"), ("dc", "source"))]  # fmt: skip
    first = diagnose(table, readings).spots[0]
    assert first.spot == "legs:Q1" and first.faults[0].kind == "lane_bridge"


def test_shorts_between_the_lanes_of_one_transistor_are_one_look() -> None:
    found = faults(SignalChain())
    joined = {frozenset(pair) for pair in combinations(("pickup", "source", "supply"), 2)}
    legs = {key for key, fault in found.items() if fault.spot == "legs:Q1"}
    assert legs == {
        *(f"lane_bridge:{'|'.join(sorted(pair))}" for pair in joined),
        *(f"dead:Q1.{pair}" for pair in ("gate-source", "gate-drain", "drain-source")),
        "shorted_gate:Q1.source", "shorted_gate:Q1.drain",
    }  # fmt: skip
    assert found["bridge:R_S"].spot == "bridge:ground|source", "not with ground: the source resistor is there, too"
    assert found["lane_bridge:jack|supply"].spot == "bridge:jack|supply"


class Pair(Stage):
    """A stage of this test: two transistors, the second a follower on the first's drain."""

    key = "pair"
    title = "two transistors"

    def parts(self, values: Values) -> tuple[Part, ...]:
        two = model(values)
        return (
            Part("R_A", "gate resistor", "resistor", ("pickup", GROUND), 4.7e6),
            Part("Q1", "transistor", "jfet", ("anode", "pickup", "foot"), two),
            Part("R_B", "drain resistor", "resistor", ("supply", "anode"), 4.7e3),
            Part("R_C", "source resistor", "resistor", ("foot", GROUND), 2.2e3),
            Part("Q2", "second transistor", "jfet", ("supply", "anode", "out"), two),
            Part("R_E", "second source resistor", "resistor", ("out", GROUND), 10e3),
            Part("C_out", "output capacitor", "capacitor", ("out", "jack"), 2.2e-6),
            Part("R_bleed", "bleed resistor", "resistor", ("jack", GROUND), 100e3),
        )


@pytest.fixture
def pair() -> Iterator[SignalChain]:
    with known(Pair):
        yield SignalChain(stage="pair")


def test_a_new_stage_gets_its_faults_with_no_other_change(pair: SignalChain) -> None:
    found = faults(pair)
    assert {"open:R_E", "pins:Q2:gds", "dead:Q1.gate-source", "leak:Q2:supply", "swapped:R_A+R_E"} <= set(found)
    table = _made(pair, Meter(), Tone(), 10)
    assert np.isfinite(table.value).all() and {"anode", "foot", "out"} <= {check.place for check in table.checks}
    expected = predicted(table, "open:R_E")
    readings = [Reading(kind, place, expected[f"{kind}:{place}"][1]) for kind, place in
                (("ohm", "out"), ("dc", "out"), ("ohm", "supply"))]  # fmt: skip
    assert diagnose(table, readings).spots[0].spot == "part:R_E"


def test_settings_cover_every_wire() -> None:
    for link in ({}, {"stage": "gain", "discs": "2p", "resonance": (4e3, 30.0, 0.2)}, {"stage": "direct"}):
        assembly = assemble(SignalChain(link).values)
        network = fault_network(assembly)
        settings = settings_of(network, assembly)
        for kind, name, _, _ in (*network.wires, *network.plugged):
            assert (f"{name}.ohm" if kind == "slot" else name) in settings


def test_data_with_sources_and_checked(tmp_path: Path) -> None:
    known = knowledge()
    assert all(kind["source"] == "common practice, no source" for kind in known.texts["kinds"].values())
    links = ({}, {"stage": "gain"}, {"stage": "direct"})
    used = {fault.kind for link in links for fault in faults(SignalChain(link)).values()}
    assert used <= set(known.weights)
    spots = {fault.spot.split(":")[0] for fault in faults(SignalChain()).values()}
    assert spots <= set(known.texts["spots"])
    text = (catalogue.data_dir() / "faults.toml").read_text("utf-8")
    for bad, words in (
        (text.replace("healthy = 0.15", "healthy = 1.5"), "limits, healthy: 1.5"),
        (text.replace("weight = 0.18", "weight = -1.0"), "kinds.joint, weight"),
        (text.replace("worn = 0.9", "worn = 9.0", 1), "kinds.flat, worn: 9.0"),
        (text.replace("[limits]", "[bounds]"), "limits"),
        ("healthy =", "cannot be read"),
    ):
        path = tmp_path / "faults.toml"
        path.write_text(bad, "utf-8")
        with pytest.raises(FaultDataError, match=words.replace(".", r"\.")):
            read(path)


def test_what_else_draws_from_the_battery_is_reckoned_with() -> None:
    """By Ohm's law: 9 V at 20 mA is 450 ohm, a lamp that the ohms range sees beside the stage; a light-emitting diode
    in its place conducts nothing there. The battery's own resistance takes 20 mA of its voltage more. No diode."""
    table = _made(SignalChain(), Meter(), Tone(), 256, False)
    lamp = _made(SignalChain(other_current=0.02), Meter(), Tone(), 256, False)
    checks = [check.key for check in table.checks]
    clip, volts = checks.index("ohm:clip"), checks.index("dc:clip")
    sound = slice(0, 256)
    ohms = np.exp(lamp.value[clip, sound]) - 1
    stage = np.median(np.exp(table.value[clip, sound]) - 1)
    assert ohms.min() == pytest.approx(1 / (1 / 450 + 1 / stage), rel=0.25)
    assert ohms.max() == pytest.approx(stage, rel=0.05)
    kind = catalogue.batteries()[SignalChain().supply]
    drop = np.median(np.sinh(table.value[volts, sound]) - np.sinh(lamp.value[volts, sound])) * 0.05
    assert 0.5 * 0.02 * kind.r_fresh < drop < 1.5 * 0.02 * kind.r_spent
    assert not lamp.dangerous[sound].any()
    bright = _made(SignalChain(other_current=0.1), Meter(), Tone(), 20, False)
    assert not bright.dangerous[:20].any(), "0.9 W into a lamp is no short"
    keys = [fault.key for fault in bright.hypotheses]
    assert bright.dangerous[bright.of_hypothesis == keys.index("switch:B1")].all()
    readings = [Reading("ohm", place, 420.0) for place in ("clip", "supply")]
    dark, lit = diagnose(table, readings), diagnose(lamp, readings)
    assert dark.probability("part:R_S") > 0.95, "a tenth of 3.9 kohm behind the channel"
    assert lit.probability("part:R_S") < 0.6 and lit.probability("healthy") > 50 * dark.probability("healthy")
