"""Inputs compared, lengths swept, stage near or far: against the same chain asked one at a time."""

import numpy as np
import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.inputs import (
    beside,
    compare_inputs,
    input_row,
    placement,
    sweep_length,
    this_input,
)
from piezolab.studies.levels import levels
from piezolab.studies.output import impedances
from piezolab.studies.response import low_note_hz as note_hz
from piezolab.studies.response import response


def test_every_kind_is_compared_and_the_worst_comes_first() -> None:
    rows = compare_inputs(SignalChain())
    assert {row.kind for row in rows} == set(catalogue.inputs())
    harm = [row.harm_db for row in rows]
    assert harm == sorted(harm, reverse=True) and harm[0] > 10 > 0.1 > harm[-1] >= 0


@pytest.mark.parametrize("kind", ["amplifier", "line", "microphone"])
@pytest.mark.parametrize("stage", ["follower", "gain", "direct"])
def test_a_row_is_what_the_divider_of_impedances_says(kind: str, stage: str) -> None:
    """Loss at 1 kHz, at the lowest string and at 5 kHz against |Z_load/(Z_load + Z_out)| with the cable in the load."""
    chain = SignalChain(stage=stage)
    row = input_row(chain, kind)
    values = chain.but(input=(kind,)).values
    f = np.array([note_hz(chain), 1000.0, 5000.0])
    z_out = impedances(chain, f).output
    y_load = 1 / values.input_r + 2j * np.pi * f * (values.input_c + values.cable_m * values.cable_c)
    expected = 20 * np.log10(np.abs(1 + z_out * y_load))
    found = (row.low_note_load_db, row.loss_db, row.treble_load_db)
    assert found == pytest.approx(expected, abs=1e-9)
    z_in = 1 / abs(1 / values.input_r + 2j * np.pi * 1000 * values.input_c)
    assert row.bridging == pytest.approx(z_in / abs(z_out[1]), rel=1e-9)


@pytest.mark.parametrize("stage", ["follower", "gain", "direct"])
def test_all_rows_at_once_are_the_chain_with_each_input(stage: str) -> None:
    """Gain and clip edge against the chain asked with that one input."""
    chain = SignalChain(stage=stage, cable_m=20.0, pickup_c=2.2e-9, play_v=0.5)
    for row in compare_inputs(chain):
        one = chain.but(input=row.kind)
        found, loud = response(one, np.array([1000.0])), levels(one)
        assert row.level_v_peak == pytest.approx(0.5 * found.gain_1khz, rel=1e-9)
        assert row.bare_low_note_db == pytest.approx(
            20 * np.log10(response(one.but(stage="direct")).low_note_gain), abs=1e-9
        )
        assert row.clip_cause == str(loud.clip_cause)
        assert row.overload_db <= max(-float(loud.input_headroom_db), 0.0) + 1e-9


def test_what_the_stage_clips_by_itself_is_not_the_inputs_fault() -> None:
    chain = SignalChain(stage="gain")
    assert levels(chain.but(input="oscilloscope-probe")).input_headroom_db < -6
    assert input_row(chain, "oscilloscope-probe").overload_db < 0.1
    assert input_row(chain, "pedal-vintage").clips
    spent = SignalChain(stage="gain", supply_v=5.0)  # in triode at rest: it clips whatever it is plugged into
    assert input_row(spent, "pedal-vintage").overload_db == 0.0


def test_a_gain_stage_overdrives_a_sensitive_input_and_a_follower_does_not() -> None:
    assert input_row(SignalChain(stage="gain"), "pedal-vintage").clips
    assert not input_row(SignalChain(stage="follower", play_v=0.3), "pedal-vintage").clips


@pytest.mark.parametrize(
    ("chain", "kind", "why"),
    [
        (SignalChain(play_v=0.01), "microphone", "resistance"),
        (SignalChain(stage="direct", pickup_c=300e-12), "oscilloscope-probe", "capacitance"),
        (SignalChain(stage="gain", cable_m=100.0, play_v=0.01), "acoustic-amplifier", "capacitance"),
        (SignalChain(), "computer-microphone", "ceiling"),
        (SignalChain(play_v=1.05), "line", "drive"),
        (SignalChain(pad=(10e3, 1e3), play_v=0.01), "amplifier", "pad"),
        (SignalChain(play_v=0.01), "amplifier", ""),
    ],
)
def test_the_reason_is_the_one_that_helps_most_when_taken_away(chain: SignalChain, kind: str, why: str) -> None:
    assert input_row(chain, kind).why == why


def test_reason_by_reason_against_the_chain_without_it() -> None:
    chain = SignalChain(stage="direct", pickup_c=1e-9, cable_m=10.0)
    row = input_row(chain, "line-47k")

    def lost(**change: object) -> np.ndarray:
        f = np.array([note_hz(chain), 1000.0, 5000.0])
        return -20 * np.log10(np.abs(response(chain.but(input="line-47k").but(change), f).gain))

    assert row.by["resistance"] == pytest.approx(np.max(lost() - lost(input_r=1e9)), abs=1e-9)
    assert row.by["capacitance"] == pytest.approx(np.max(lost() - lost(input_c=0.0, cable_m=0.0)), abs=1e-9)


def test_the_chains_own_input_and_one_beside_it() -> None:
    chain = SignalChain(stage="direct")
    assert this_input(chain) == input_row(chain, "amplifier")
    assert this_input(chain.but(input_r=10e3)).low_note_load_db > 10
    pair = next(row for row in beside(chain) if row.kind == "interface")
    both = this_input(chain.but(input=("amplifier", "interface")))
    for of in ("loss_db", "low_note_load_db", "bridging", "ceiling_v_peak", "overload_db"):
        assert getattr(pair, of) == pytest.approx(getattr(both, of), rel=1e-12), of
    assert both.low_note_load_db > this_input(chain).low_note_load_db
    assert input_row(chain, "microphone").phantom and this_input(chain.but(input=("pedal", "microphone"))).phantom


def test_length_sweeps_are_the_chain_at_each_length() -> None:
    chain = SignalChain(stage="direct", input="line")
    sweep = sweep_length(chain, "cable_m", 30.0, 7)
    for length, level, low in zip(sweep.length_m, sweep.level_db, sweep.low_note_db, strict=True):
        found = response(chain.but(cable_m=float(length)), np.array([1000.0]))
        assert level == pytest.approx(20 * np.log10(found.gain_1khz), abs=1e-9)
        assert low == pytest.approx(20 * np.log10(found.low_note_gain), abs=1e-9)
    with pytest.raises(KeyError, match="no length"):
        sweep_length(chain, "gate_r", 1.0)


def test_a_stage_at_the_far_end_hangs_the_cable_on_the_pickup() -> None:
    """A small disc loses level to 10 m of cable before the stage, C_p/(C_p + C), and next to nothing after it."""
    chain = SignalChain(pickup_c=1e-9, cable_m=10.0, gate_r=100e6)
    found = placement(chain)
    lead = 0.3 * 100e-12
    expected = 20 * np.log10((1e-9 + lead) / (1e-9 + lead + 1e-9))
    assert found.far_db - found.near_db == pytest.approx(expected, abs=0.15)


def test_two_inputs_in_parallel_load_like_their_sum() -> None:
    both = SignalChain(input=("pedal", "interface")).values
    one, two = (catalogue.inputs()[kind] for kind in ("pedal", "interface"))
    assert both.input_r == pytest.approx(one.r * two.r / (one.r + two.r))
    assert both.input_c == pytest.approx(one.c + two.c)
    assert both.input_max == min(one.max_v_peak, two.max_v_peak)
