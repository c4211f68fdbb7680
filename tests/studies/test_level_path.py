"""The level from the disc to the input, by the time domain and by the studies that judge the same edges."""

import numpy as np
import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.circuit.transient import transient
from piezolab.pages.how_loud_before_it_clips.level_path_figure import path_figure
from piezolab.quantity import dbu, dbv
from piezolab.studies.clamp_edges import clamp_edges
from piezolab.studies.level_path import GATE, INPUT, PICKUP, STAGE, level_path
from piezolab.studies.levels import levels
from piezolab.studies.linear import LinearChain
from piezolab.studies.swing import swing
from tests.chain.strategies import random_chain

CHAINS = [
    {},
    {"stage": "gain", "pad": (10e3, 4.7e3), "cable_m": 20.0},
    {"return": "divider", "input": "line"},
    {"stage": "direct", "pickup_c": 440e-12},
]


@pytest.mark.parametrize("changes", CHAINS, ids=["follower", "gain, pad, long cable", "divider", "bare"])
def test_every_place_has_the_peak_that_a_run_in_time_finds(changes):
    """Ten periods of a small sine from rest, 256 steps each; the last two are looked at, about their middle."""
    chain, small = SignalChain().but(changes), 1e-3
    assembly = assemble(chain.values)
    time = np.arange(10 * 256 + 1) / 256e3
    tone = {name: part * small * np.sin(2e3 * np.pi * time) for name, part in assembly.drive.items()}
    run = transient(assembly.network, time, tone)
    node = {INPUT: assembly.load}
    if assembly.transistors:
        (transistor,) = (part for part in assembly.parts if part.kind == "jfet")
        gain_stage = chain.stage == "gain"
        node |= {GATE: transistor.nodes[1], STAGE: transistor.nodes[0 if gain_stage else 2]}
    for place in level_path(chain):
        if place.name != PICKUP:
            last = run.voltage(node[place.name])[-513:]
            assert (last.max() - last.min()) / 2 / small == pytest.approx(place.gain, rel=3e-3)


def test_the_places_hold_what_the_judgement_calls_clipping():
    """The nearest of all that the places take, as a pickup voltage, is the edge of the stage and, where it comes first,
    of the chain; each range holds a part that is the type's middle."""
    rng = np.random.default_rng(5)
    seen = set()
    for _ in range(25):
        chain = random_chain(rng)
        places = {place.name: place for place in level_path(chain)}
        assert min(place.takes for place in level_path(chain) if place.name == INPUT) == chain.values.input_max
        if GATE not in places:
            continue
        sides = {
            side: min(
                (
                    getattr(places[name], side).typical / places[name].gain
                    for name in (GATE, STAGE)
                    if places[name].gain
                ),
                default=np.inf,
            )
            for side in ("rising", "falling")
        }
        found, of = swing(LinearChain.of(chain.values)), levels(chain)
        if not places[GATE].gain or not places[STAGE].gain:
            continue
        assert sides["rising"] == pytest.approx(float(found.up), rel=1e-9)
        assert sides["falling"] == pytest.approx(float(found.down), rel=1e-9)
        if of.clip_cause != "input":
            assert min(sides.values()) == pytest.approx(float(of.clip_input_v_peak), rel=1e-9)
        seen.add(str(of.clip_cause))
        for name in (GATE, STAGE):
            for ceiling in (places[name].rising, places[name].falling):
                assert 0 <= ceiling.low <= ceiling.high
    assert {"cut-off", "input"} <= seen


def test_a_measured_transistor_with_an_adapter_has_no_range():
    chain = SignalChain().but(jfet_idss=3e-3, jfet_vgsoff=-1.2, supply="adapter")
    for place in level_path(chain)[1:3]:
        for ceiling in (place.rising, place.falling):
            assert ceiling.low == pytest.approx(ceiling.typical) and ceiling.high == pytest.approx(ceiling.typical)


def test_levels_by_definition():
    """0 dBu is the voltage of 1 mW in 600 ohm (IEC 60027-3, from memory), 0 dBV one volt; crest factors of a sine, a
    square and a triangle of the same peak are sqrt(2), 1 and sqrt(3)."""
    assert dbu(np.sqrt(1e-3 * 600)) == pytest.approx(0, abs=1e-12) and dbv(1.0) == 0
    assert dbu(1.0) - dbv(1.0) == pytest.approx(2.2184875, abs=1e-6)
    phase = np.arange(200_000) / 200_000
    sine, square, triangle = np.sin(2 * np.pi * phase), np.sign(phase - 0.5 + 1e-9), 4 * abs(phase - 0.5) - 1
    for wave, crest in ((sine, np.sqrt(2)), (square, 1.0), (triangle, np.sqrt(3))):
        rms = np.sqrt(np.mean(wave**2))
        assert np.max(abs(wave)) / rms == pytest.approx(crest, rel=1e-4)
        assert dbv(np.max(abs(wave))) - dbv(rms) == pytest.approx(20 * np.log10(crest), abs=1e-3)


def test_a_clamp_is_what_the_gate_takes():
    chain = SignalChain().but(clamp="pair")
    (edge,) = clamp_edges(LinearChain.of(chain.values))
    gate = next(place for place in level_path(chain) if place.name == GATE)
    assert gate.falling.typical == pytest.approx(float(edge.falling) * gate.gain) and np.isfinite(gate.falling.typical)


def test_two_devices_load_one_output_and_each_has_its_ceiling():
    """By hand: two resistances and capacitances side by side give the level; the ceilings are the catalogue's."""
    chain = SignalChain(input=("line", "recorder"))
    *_, first, second = level_path(chain)
    rows = catalogue.inputs()
    assert [first.kind, second.kind] == ["line", "recorder"] and first.gain == second.gain
    assert [first.takes, second.takes] == [rows["line"].max_v_peak, rows["recorder"].max_v_peak]
    both = 1 / (1 / rows["line"].r + 1 / rows["recorder"].r)
    alone = SignalChain(input="line", input_r=both, input_c=rows["line"].c + rows["recorder"].c)
    assert level_path(alone)[-1].gain == pytest.approx(first.gain, rel=1e-12) and level_path(alone)[-1].kind == ""
    traces, layout, narrow, told = path_figure(chain, None)
    assert "at the line input" in layout["xaxis"]["ticktext"] and "at the portable recorder" in told
