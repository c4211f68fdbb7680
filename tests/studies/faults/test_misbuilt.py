"""Leads in wrong lanes, cracked lanes, wrong or unsuited transistors, foil, plugs: by other routes, and in words."""

from dataclasses import replace
from html import escape

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, assemble
from piezolab.chain.parts import Part
from piezolab.pages.where_is_the_fault import sentences as say
from piezolab.pages.where_is_the_fault.finder_blocks import places_html, unseen_html
from piezolab.studies.faults import FaultTable, Reading, diagnose, fault_table, predicted
from piezolab.studies.faults.bands import seen_shares
from piezolab.studies.faults.diagnosis import Diagnosis
from piezolab.studies.faults.fault_network import FaultNetwork, fault_network
from piezolab.studies.faults.hearing import WORDS
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.making import faults_of
from piezolab.studies.faults.misbuilt import FROM_A_KNOCK, LEAKY_GATE_OHM
from tests.studies.faults import direct
from tests.studies.faults.test_simulate import DRAWN, METER, found

CHAIN = SignalChain()
NEW = {
    "misplaced", "broken_lane", "upside_down", "wrong_device", "unsuited", "never_on", "stereo_plug", "foil",
    "hurt_capacitor", "leaky_gate", "shorted_gate",
}  # fmt: skip


def network(chain: SignalChain = CHAIN) -> FaultNetwork:
    return fault_network(assemble(chain.values), diode=False)


def faults(chain: SignalChain = CHAIN) -> dict[str, Hypothesis]:
    return {fault.key: fault for fault in faults_of(chain, network(chain), ring=True)}


def stray_nodes(part: Part) -> list[tuple[str, str]]:
    """Every pair of lanes that a part may lie across with one lead astray, by hand, in the order of the ways."""
    lanes = [*network().lanes, GROUND]
    return [(stays, lane) for stays in part.nodes for lane in lanes if lane not in part.nodes]


@pytest.mark.parametrize("name", ["R_S", "C_out"])
def test_a_stray_lead_is_the_part_between_other_lanes(name: str) -> None:
    fault, parts = faults()[f"misplaced:{name}"], direct.parts_of(CHAIN)
    ways = stray_nodes(parts[name])
    assert len(fault.edits) == len(ways)
    for way, nodes in list(enumerate(ways))[::2]:
        moved = parts | {name: replace(parts[name], nodes=nodes)}
        agrees(moved, fault, way)


def agrees(parts: dict[str, Part], fault: Hypothesis, way: int) -> None:
    readings = found(CHAIN, fault, 1, way)
    for lane in ("source", "supply", "jack"):
        assert readings.dc[lane][0] == pytest.approx(direct.volts(parts, lane, METER), rel=2e-3, abs=5e-3), (way, lane)
        ohm, ours = direct.ohms(parts, lane, METER), readings.ohm[lane][0]
        assert min(ohm, ours) > 2 * METER.ohm_max or ours == pytest.approx(ohm, rel=2e-3, abs=0.1), (way, lane)


def test_a_cracked_ground_lane_leaves_two_pieces() -> None:
    """By hand: what lies behind the crack hangs on a node of its own, the plugged cable's screen with it."""
    fault, ends = faults()["broken_lane:ground"], network().long_lanes[GROUND]
    assert len(fault.edits) == len(ends) - 3 and ends[-1] == "jack.sleeve"
    for way in range(len(fault.edits)):
        behind, parts = set(ends[way + 2 :]), direct.parts_of(CHAIN)
        for name, part in parts.items():
            if name in behind or f"{name}.minus" in behind or part.where in ("cable", "input"):
                parts[name] = part.on(**{GROUND: "piece"})
        agrees(parts, fault, way)
    assert "broken_lane:source" not in faults(), "a crack there leaves a single lead aside: that lead's own fault"


def test_a_p_channel_transistor_hangs_full_on() -> None:
    """Its gate, at ground through 4.7 Mohm, conducts and is pulled up: the channel is a resistor of about
    1/(2 beta |V_GS(off)|) or less from the supply to the source (triode law), so the source takes nearly all volts."""
    fault = faults()["wrong_device:Q1"]
    model = direct.parts_of(CHAIN)["Q1"].value
    channel = 1 / (2 * float(model.beta) * abs(float(model.v_off)))
    least = 9.0 * 3.9e3 / (3.9e3 + channel)
    source = found(CHAIN, fault, 1, 0).dc["source"][0]
    assert 0.97 * least < source < 9.0
    bipolar = found(CHAIN, fault, 1, 1)
    assert bipolar.dc["source"][0] == pytest.approx(0, abs=0.02) and bipolar.ohm["supply"][0] > METER.ohm_max / 4


def test_a_transistor_that_does_not_suit_is_no_healthy_build(table: FaultTable) -> None:
    key = "unsuited:Q1"
    own = table.of_hypothesis == [fault.key for fault in table.hypotheses].index(key)
    distorted = table.heard[WORDS.index("distorted")]
    assert distorted[own].mean() > 0.2 > 0.1 > distorted[table.of_hypothesis == 0].mean()
    for percentile in (0, 2):  # the weak ones and the strong ones
        volts = predicted(table, key)["dc:source"][percentile]
        readings = [Reading("ohm", "supply", 4000.0), Reading("dc", "source", volts), Reading("dc", "supply", 9.0)]
        got = diagnose(table, readings, ("distorted",))
        assert got.probability("healthy") < 0.2
        assert got.spots[0].spot == "transistor:Q1" and got.spots[0].faults[0].kind == "unsuited"


def test_brass_outside_hums_and_reads_like_a_sound_build(table: FaultTable) -> None:
    keys = [fault.key for fault in table.hypotheses]
    own = table.of_hypothesis == keys.index("upside_down")
    assert table.heard[WORDS.index("hum"), own].mean() > 0.5
    assert seen_shares(table)[keys.index("upside_down")] < 0.05
    sound = [Reading(*check.split(":"), predicted(table, "healthy")[check][1]) for check in ("ohm:pickup", "dc:source")]
    kinds = [fault.kind for fault in diagnose(table, sound, ("hum",)).spots[0].faults]
    assert kinds[0] == "upside_down"


def test_a_leaky_gate_is_a_resistor_into_the_channel() -> None:
    """By hand: between gate and source, then between gate and drain."""
    fault, parts = faults()["leaky_gate:Q1"], direct.parts_of(CHAIN)
    drain, gate, source = parts["Q1"].nodes
    assert len(fault.edits) == 2
    for way, far in enumerate((source, drain)):
        leak = replace(parts["R_S"], name="leak", nodes=(gate, far), value=DRAWN)
        agrees(parts | {"leak": leak}, fault, way)
        drawn = fault.edits[way]({}, lambda low, high: np.array([low, high]))
        assert next(iter(drawn.values())) == pytest.approx(LEAKY_GATE_OHM)


def test_only_the_gate_at_the_disc_is_hurt_by_a_knock() -> None:
    for stage, gates in (("direct", set()), ("follower", {"Q1"}), ("gain", {"Q1"})):
        found = faults(SignalChain(stage=stage)).values()
        assert {fault.parts[0] for fault in found if fault.kind in FROM_A_KNOCK} == gates


def test_since_a_knock_the_gate_is_suspected_first_and_the_clamp_named(table: FaultTable) -> None:
    """A follower whose gate leaks is weak, a gain stage's may be silent: among all that a drop does the transistor is
    among the first places, and its gate the first of its repairs."""

    def share(got: Diagnosis) -> float:
        return sum(f.probability for s in got.spots for f in s.faults if f.kind in FROM_A_KNOCK)

    for made, word in ((table, "weak"), (fault_table(SignalChain(stage="gain")), "dead")):
        before, after = (diagnose(made, (), (word, *more)) for more in ((), ("knocked",)))
        assert share(after) > 6 * share(before)
        place = next(spot for spot in after.spots[:2] if spot.spot == "transistor:Q1")
        assert max(place.faults, key=lambda f: f.probability).kind == "leaky_gate"
        told = places_html(after, made.chain)
        assert "as after a knock on the disc" in told and "how-loud-before-it-clips" in told
    expected = predicted(table, "leaky_gate:Q1")
    readings = [Reading(*check.split(":"), expected[check][1]) for check in
                ("ohm:pickup", "ohm:source", "dc:source", "dc:pickup")]  # fmt: skip
    got = diagnose(table, readings, ("weak", "knocked"))
    assert got.spots[0].faults[0].key == "leaky_gate:Q1"
    told = places_html(got, CHAIN, "stage=follower")
    assert "how-loud-before-it-clips?stage=follower" in told and "put a clamp at the gate" in told
    assert knowledge().texts["kinds"]["leaky_gate"]["caution"].split(".")[0] in told
    bare = places_html(diagnose(table, (Reading("ohm", "clip", 0.3),)), CHAIN)
    assert "how-loud-before-it-clips" not in bare


def test_places_of_the_new_faults() -> None:
    got = faults()
    assert got["foil:source"].spot == got["bridge:R_S"].spot == "bridge:ground|source", "looked for as one short"
    assert got["foil:supply"].spot == got["bridge:C_sup"].spot
    assert {got[f"{kind}:B1"].spot for kind in ("never_on", "stereo_plug")} == {"leads"}
    assert "hurt_capacitor:C_out" in got and "hurt_capacitor:C_sup" not in got, "phantom power reaches the jack only"
    assert "hurt_capacitor:C_out" not in faults(SignalChain(out_c=100e-9, bleed_r=2.2e6)), "film bears it"
    assert {fault.kind for fault in got.values()} >= NEW


def test_every_new_fault_has_its_words_repair_and_caution() -> None:
    for fault in faults().values():
        texts = say.fault_texts(fault, CHAIN)
        assert all("{" not in text for text in texts.values())
        if fault.kind in NEW:
            assert texts["mend"] and texts["reads"] and texts["shows"] and len(texts["caution"]) > 20, fault.key
    words = {kind: say.fault_texts(next(f for f in faults().values() if f.kind == kind), CHAIN) for kind in NEW}
    assert "try its channel" in words["wrong_device"]["mend"]
    assert "whatever the diode range says" in words["wrong_device"]["mend"]
    assert "mono plug" in words["stereo_plug"]["mend"] and "brass to ground" in words["upside_down"]["mend"]
    assert "fold it back" in words["foil"]["mend"] and "burst" in words["foil"]["caution"]


def test_a_caution_stands_beside_its_place(table: FaultTable) -> None:
    expected = predicted(table, "broken_lane:ground")
    readings = [Reading("ohm", "clip", np.inf), Reading("ohm", "source", 3900.0), Reading("dc", "jack", -8.0)]
    got = diagnose(table, readings)
    assert got.spots[0].spot == "lane:ground" and expected["dc:jack"][0] < 0
    told = places_html(got, CHAIN)
    assert "a crack or bad joint in the ground lane" in told
    assert knowledge().texts["kinds"]["broken_lane"]["caution"] in told


def test_a_mend_brings_its_caution_though_it_is_not_the_first_and_only_once(table: FaultTable) -> None:
    foil = escape(knowledge().texts["kinds"]["foil"]["caution"])
    for heard in ("hot", "dead"):
        told = places_html(diagnose(table, (), (heard,)), CHAIN)
        assert told.count("fold it back") >= 1 == told.count(foil)
        assert "Soldering" not in told, "that is said below, once for all of them"


def test_what_hides_is_told(table: FaultTable) -> None:
    """A reversed output capacitor leaks anything from 1 kohm to 10 Mohm; a gate resistor above the meter's range."""
    leak = faults()["reversed_capacitor:C_out"].edit({}, lambda low, high: np.array([low, high]))["C_out.ohm"]
    assert leak == pytest.approx([1e3, 10e6])
    told = unseen_html(table, CHAIN)
    assert "(often)" in told and "Often no meter shows it" in told
    assert "check it before it goes in" not in told
    large = fault_table(SignalChain(gate_r=22e6))
    told = unseen_html(large, large.chain)
    assert "check it before it goes in" in told
    assert "read about 6.9" in told, "22 and 10 megohm beside each other: 6.875"
