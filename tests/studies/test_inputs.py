"""Inputs compared, lengths swept, stage near or far: against the same chain asked one at a time."""

import numpy as np
import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.inputs import compare_inputs, input_row, placement, sweep_length, worth_of_stage_db
from piezolab.studies.output import impedances
from piezolab.studies.response import response


def test_every_kind_is_compared_and_the_worst_comes_first() -> None:
    rows = compare_inputs(SignalChain())
    assert {row.kind for row in rows} == set(catalogue.inputs())
    losses = [row.low_note_loss_db for row in rows]
    assert losses == sorted(losses, reverse=True)


@pytest.mark.parametrize("kind", ["amplifier", "line", "microphone"])
@pytest.mark.parametrize("stage", ["follower", "gain", "direct"])
def test_a_row_is_what_the_divider_of_impedances_says(kind: str, stage: str) -> None:
    """Loss at 1 kHz against |Z_load/(Z_load + Z_out)| with the cable in the load."""
    chain = SignalChain(stage=stage)
    row = input_row(chain, kind)
    values = chain.but(input=(kind,)).values
    w = 2j * np.pi * 1000
    z_out = complex(impedances(chain).output)
    y_load = 1 / values.input_r + w * (values.input_c + values.cable_m * values.cable_c)
    expected = -20 * np.log10(abs(1 / (1 + z_out * y_load)))
    # the free end still has 1 Gohm
    assert row.loss_db == pytest.approx(expected, abs=2e-3)
    assert row.bridging == pytest.approx(abs(1 / (1 / values.input_r + w * values.input_c)) / abs(z_out), rel=1e-9)
    assert row.clips == (row.level_v_peak > row.ceiling_v_peak)


def test_a_gain_stage_overdrives_a_sensitive_input_and_a_follower_does_not() -> None:
    assert input_row(SignalChain(stage="gain"), "pedal-vintage").clips
    assert not input_row(SignalChain(stage="follower", play_v=0.3), "pedal-vintage").clips


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


def test_when_a_stage_is_worth_it() -> None:
    assert worth_of_stage_db(SignalChain(input="line")) > 10
    assert abs(worth_of_stage_db(SignalChain(input="acoustic-amplifier"))) < 0.5
    assert worth_of_stage_db(SignalChain(stage="direct")) == 0.0


def test_two_inputs_in_parallel_load_like_their_sum() -> None:
    both = SignalChain(input=("pedal", "interface")).values
    one, two = (catalogue.inputs()[kind] for kind in ("pedal", "interface"))
    assert both.input_r == pytest.approx(one.r * two.r / (one.r + two.r))
    assert both.input_c == pytest.approx(one.c + two.c)
    assert both.input_max == min(one.max_v_peak, two.max_v_peak)
