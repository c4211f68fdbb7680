"""Added harmonics against the square law by hand and against harmonic balance by quadrature."""

import numpy as np
import pytest
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.studies.added_harmonics import distortion, transfer_curve
from piezolab.studies.bias import bias
from piezolab.studies.levels import levels
from piezolab.studies.linear import LinearChain


@pytest.mark.parametrize("play_v", [0.01, 0.05, 0.1])
def test_a_grounded_source_adds_a_quarter_of_drive_over_overdrive(play_v: float) -> None:
    """Square law, lambda = 0, source held: (V + v sin)^2 has a second harmonic of v/(4 V) of the first and no other."""
    chain = SignalChain(
        stage="gain", bypass_c=10e-3, drain_r=100.0, jfet_lambda=0.0, jfet_crss=0.0, play_v=play_v, pickup_c=500e-9,
        lead_m=0.0, pickup_loss=0.0,
    )  # fmt: skip
    at_rest = bias(chain)
    found = distortion(chain, (0.0,))
    overdrive = float(at_rest.v_ds_sat)
    drive = play_v * 500e-9 / (500e-9 + chain.values.jfet_ciss)
    assert found.added[0] == pytest.approx(drive / (4 * overdrive), rel=0.01)
    assert found.harmonics[0, 2] < 1e-3 * found.harmonics[0, 1]


def test_a_follower_against_each_moment_solved_on_its_own() -> None:
    """The source's node solved by scipy at each instant, its harmonics by a plain sum."""
    chain = SignalChain(play_v=0.9, jfet_crss=0.0, jfet_ciss=0.1e-12, pickup_loss=0.0, pickup_c=500e-9, lead_m=0.0,
                        out_c=1e-3, cable_m=0.0, input_c=0.0)  # fmt: skip
    v, at_rest = chain.values, bias(chain)
    beta = v.jfet_idss / (1 + v.jfet_lambda * v.jfet_vds) / v.jfet_vgsoff**2
    load = 1 / (1 / v.bleed_r + 1 / v.input_r)
    v_s0 = float(at_rest.v_s)

    def out(e: float) -> float:
        def miss(u: float) -> float:
            drive = max(float(at_rest.v_g) + e - (v_s0 + u) - v.jfet_vgsoff, 0.0)
            return beta * drive**2 * (1 + v.jfet_lambda * (9 - v_s0 - u)) - (v_s0 + u) / v.source_r - u / load

        return brentq(miss, -5, 5)

    turn = 2 * np.pi * np.arange(256) / 256
    wave = np.array([out(0.9 * np.sin(t)) for t in turn])
    by_hand = [abs(2 * np.mean(wave * np.exp(-1j * n * turn))) for n in range(1, 6)]
    np.testing.assert_allclose(distortion(chain, (0.0,)).harmonics[0, :5], by_hand, rtol=2e-3, atol=2e-6)


def test_louder_playing_adds_more_and_beyond_the_edge_it_is_said() -> None:
    chain = SignalChain(stage="gain", input="line", play_v=0.5)
    found = distortion(chain)
    assert np.all(np.diff(found.added) > 0)
    edge = float(levels(chain).clip_input_v_peak)
    assert list(found.beyond) == [0.5 * 10 ** (db / 20) > edge for db in (-20, -10, 0)]
    assert distortion(SignalChain(stage="direct")) is None
    assert np.isnan(distortion(SignalChain(source_r=0.0)).added).all(), "no sound, no share"


@pytest.mark.parametrize("stage", ["direct", "follower", "gain"])
def test_the_curve_starts_straight_and_bends_inward(stage: str) -> None:
    chain = SignalChain(stage=stage, input="line")
    curve = transfer_curve(chain)
    middle = len(curve.pickup_v) // 2
    slope = (curve.load_v[middle + 1] - curve.load_v[middle - 1]) / (2 * curve.pickup_v[middle + 1])
    gain = abs(complex(LinearChain.of(chain.values).gain(1000.0)))
    assert abs(slope) == pytest.approx(gain, rel=0.03)
    assert (slope < 0) == (stage == "gain")
    assert np.all(np.abs(curve.load_v[[0, -1]]) <= np.abs(curve.straight_v[[0, -1]]) * 1.05)
