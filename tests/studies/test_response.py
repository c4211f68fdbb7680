"""Response, mid-band and corners, by their definition: searched for by brute force, solved on paper."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.pitch import frequency
from piezolab.quantity import decibels
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import loading
from piezolab.studies.response import AUDIO, FREQUENCY, Response, response, search_grid
from tests.chain.strategies import chains, random_chain
from tests.studies.formulas import common_source, follower, simple_chains

ROOT_HALF = 1 / math.sqrt(2)


def level(chain: SignalChain, f: Any) -> np.ndarray:
    return np.abs(LinearChain.of(chain.values).gain(np.asarray(f, float)))


def brute_grid(chain: SignalChain) -> np.ndarray:
    """A grid of its own: 300 points a decade, and every resonance at 40 points to its width."""
    grid = [np.geomspace(1e-3, 1e7, 3001), np.array(AUDIO)]
    if chain.resonance:
        f, q, k = chain.resonance
        grid.append(np.geomspace(0.7 * f, 1.5 * f * math.sqrt(1 + k), int(40 * q) + 100))
    return np.unique(np.concatenate(grid))


# -- by definition ----------------------------------------------------------------------------------------------------
def check_definition(chain: SignalChain) -> Response:
    """Mid-band is the largest gain in the audio band; between the corners the level never falls short; at them it is
    1/sqrt(2) of mid-band."""
    found, grid = response(chain), brute_grid(chain)
    heard = level(chain, grid)
    audio = (grid >= AUDIO[0]) & (grid <= AUDIO[1])
    if found.midband_gain == 0:
        assert heard[audio].max() < 1e-15
        assert math.isnan(found.low_corner_hz) and math.isnan(found.high_corner_hz)
        return found
    if chain.stage != "direct":
        assert heard[audio].max() == pytest.approx(found.midband_gain, rel=2e-3)
        assert heard[audio].max() <= found.midband_gain * (1 + 1e-9)
    wanted = found.midband_gain * ROOT_HALF
    top = grid[audio][np.argmax(heard[audio])] if chain.stage != "direct" else grid[np.argmax(heard)]
    if heard.max() < wanted:
        assert math.isnan(found.low_corner_hz) and math.isnan(found.high_corner_hz)
        return found
    for corner, outward in ((found.low_corner_hz, grid < top), (found.high_corner_hz, grid > top)):
        short = outward & (heard < wanted * (1 - 1e-7))
        if math.isnan(corner):
            assert not short.any()
            continue
        assert level(chain, corner) == pytest.approx(wanted, rel=1e-6)
        inside = (grid > min(corner, top) * (1 + 1e-6)) & (grid < max(corner, top) * (1 - 1e-6))
        assert not np.any(short & inside)
    return found


def test_the_definition_holds_for_random_chains_of_every_kind() -> None:
    rng = np.random.default_rng(21)
    kinds = {"low": 0, "high": 0, "no low": 0, "no high": 0, "resonance": 0}
    for _ in range(80):
        chain = random_chain(rng)
        found = check_definition(chain)
        kinds["low" if found.low_corner_hz > 0 else "no low"] += 1
        kinds["high" if found.high_corner_hz > 0 else "no high"] += 1
        kinds["resonance"] += chain.resonance is not None
    assert min(kinds.values()) >= 3, kinds


@settings(max_examples=30)
@given(chains())
def test_the_definition_holds_at_the_edges_of_the_ranges(chain: SignalChain) -> None:
    check_definition(chain)


@pytest.mark.parametrize("stage", ["direct", "follower", "gain"])
@pytest.mark.parametrize("f", [500.0, 3333.0, 19.9e3, 50e3])
@pytest.mark.parametrize("q, k", [(500.0, 0.01), (500.0, 1.0), (1.0, 0.3)])
def test_no_resonance_slips_through(stage: str, f: float, q: float, k: float) -> None:
    check_definition(SignalChain(stage=stage, resonance=(f, q, k), pickup_loss=0))


def test_a_narrow_peak_behind_a_low_pass_is_still_the_largest_gain() -> None:
    """A hundred times down at the resonance, and five hundred times up again by it, between two points of any grid."""
    chain = SignalChain(resonance=(15e3, 500, 0.05), pickup_loss=0, pad=(10e6, 10e6), input_r=1e6, input_c=1.6e-9)
    found = check_definition(chain)
    assert found.high_corner_hz - found.low_corner_hz < 60
    assert 14.9e3 < found.low_corner_hz < found.high_corner_hz < 15.4e3


# -- on paper ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("stage, on_paper", [("follower", follower), ("gain", common_source)])
def test_corners_against_a_root_of_the_formula(stage: str, on_paper: Any) -> None:
    fixed = {} if stage == "gain" else {"drain_r": 0.0}
    compared = 0
    for chain in simple_chains(stage, 40, 22, **fixed):
        found = response(chain)
        wanted = found.midband_gain * ROOT_HALF

        def over(log_f: float, chain: SignalChain = chain, wanted: float = wanted) -> float:
            return float(np.abs(on_paper(chain, np.array([10**log_f]))[1][0])) / wanted - 1

        for corner in (found.low_corner_hz, found.high_corner_hz):
            if corner > 0:
                log_f = math.log10(corner)
                assert 10 ** brentq(over, log_f - 1e-4, log_f + 1e-4, xtol=1e-15) == pytest.approx(corner, rel=1e-7)
                compared += 1
    assert compared > 40


@given(st.floats(2e-3, 1e3))
def test_two_high_passes_in_a_row(corner: float) -> None:
    """Pickup and output capacitor with the same corner: together 3 dB down where each is 1.5 dB down."""
    gate_r = 1e9
    pickup_c = 1 / (2 * math.pi * corner * gate_r)
    if not 50e-12 <= pickup_c <= 500e-9:
        gate_r = min(max(1 / (2 * math.pi * corner * 5e-9), 1e3), 1e9)
        pickup_c = 1 / (2 * math.pi * corner * gate_r)
    out_c = 1 / (2 * math.pi * corner * 99.9e6)
    if not (50e-12 <= pickup_c <= 500e-9 and 1e-9 <= out_c <= 1e-3):
        return
    chain = SignalChain(
        jfet="2N5457", pickup_c=pickup_c, pickup_r=100e9, pickup_loss=0, lead_m=0, gate_r=gate_r, jfet_ciss=0.1e-12,
        jfet_crss=0, jfet_ig=0, out_c=out_c, bleed_r=100e6, input_r=1e9, cable_m=0, input_c=0,
    )  # fmt: skip
    found = response(chain)
    x = brentq(lambda x: (x * x / (1 + x * x)) - ROOT_HALF, 0.1, 10)  # of each corner: |H|^2 = (x^2/(1+x^2))^2
    r_out = 1 / (1 / 100e6 + 1 / 1e9)
    second = 1 / (2 * math.pi * r_out * out_c)
    assert second == pytest.approx(corner, rel=0.11)  # the two are only nearly the same: solve with what they are
    first = 1 / (2 * math.pi * pickup_c / (1 / gate_r + 1 / 100e9))
    if found.low_corner_hz > 0 and found.low_corner_hz < 50:
        both = brentq(lambda f: 1 / math.hypot(1, first / f) / math.hypot(1, second / f) - ROOT_HALF, 1e-5, 1e6)
        assert found.low_corner_hz == pytest.approx(both, rel=0.02)
        assert both == pytest.approx(x * corner, rel=0.1)


def test_low_note_levels() -> None:
    for tuning, lowest in (("E1", "E1"), ("D3-A3-D4", "D3"), ("G4-C4-E4-A4", "C4")):
        chain = SignalChain(tuning=tuning, gate_r=100e3, pickup_c=5e-9)
        found = response(chain)
        assert found.low_note_hz == frequency(lowest)
        assert found.low_note_gain == pytest.approx(level(chain, frequency(lowest)), rel=1e-12)
        assert found.gain_1khz == pytest.approx(level(chain, 1000.0), rel=1e-12)
        expected = decibels(found.low_note_gain) - decibels(found.midband_gain)
        assert found.low_note_re_midband_db == pytest.approx(expected, abs=1e-9)


# -- corners that are not there ---------------------------------------------------------------------------------------
def test_a_bare_pickup_has_no_upper_corner_and_a_pad_gives_it_one() -> None:
    assert math.isnan(response(SignalChain(stage="direct")).high_corner_hz)
    assert response(SignalChain(stage="direct", pad=(100e3, 1e6))).high_corner_hz > 5e3


def test_a_corner_under_a_millihertz_is_none() -> None:
    chain = SignalChain(
        pickup_c=500e-9, pickup_r=100e9, gate_r=1e9, out_c=1e-3, bleed_r=100e6, input_r=1e9, jfet_ig=0, pickup_loss=0
    )
    found = check_definition(chain)
    assert math.isnan(found.low_corner_hz)
    # 0.32 mHz of the pickup; with a smaller one the corner is there again
    assert check_definition(chain.but(pickup_c=100e-9)).low_corner_hz == pytest.approx(1.6e-3, rel=0.05)


def test_largest_gain_at_the_upper_edge_of_the_audio_band() -> None:
    chain = SignalChain(out_c=1e-9, input="line", input_r=100, cable_m=0)
    found = check_definition(chain)
    assert found.midband_gain == pytest.approx(level(chain, 20e3), rel=1e-9)
    assert found.low_corner_hz == pytest.approx(20e3 * ROOT_HALF, rel=0.01)  # 6 dB in each octave there
    assert math.isnan(found.high_corner_hz) or found.high_corner_hz > 1e6


def test_largest_gain_at_the_lower_edge_of_the_audio_band() -> None:
    chain = SignalChain(pad=(10e6, 10e6), input_r=1e9, input_c=100e-9)
    found = check_definition(chain)
    assert found.midband_gain == pytest.approx(level(chain, 20.0), rel=1e-9)
    assert found.high_corner_hz == pytest.approx(20 / ROOT_HALF, rel=0.01)
    assert found.low_corner_hz < 2


def test_an_output_taken_from_the_supply_itself_carries_nothing() -> None:
    found = check_definition(SignalChain(stage="gain", drain_r=0))
    assert found.midband_gain == 0


def test_opposed_discs_have_no_level_and_no_corner() -> None:
    for stage in ("direct", "follower", "gain"):
        found = response(SignalChain(stage=stage, discs="2sx"))
        assert found.midband_gain == found.low_note_gain == 0
        for nothing in (found.low_corner_hz, found.high_corner_hz, found.low_note_re_midband_db):
            assert math.isnan(nothing)
        assert np.all(np.isneginf(found.gain_db)) and np.all(np.isfinite(found.phase_deg))


# -- phase ------------------------------------------------------------------------------------------------------------
@given(chains(), st.lists(st.floats(1e-3, 1e7), min_size=1, max_size=12))
def test_phase_is_that_of_the_gain_in_whatever_order_it_is_asked(chain: SignalChain, asked: list[float]) -> None:
    found = response(chain, np.array(asked))
    assert list(found.frequency) == asked
    turned = np.abs(found.gain) * np.exp(1j * np.radians(found.phase_deg))
    assert turned == pytest.approx(found.gain, rel=1e-9, abs=1e-300)
    alone = [response(chain, np.array([f])).phase_deg[0] for f in asked[:3]]
    assert list(found.phase_deg[:3]) == alone


@pytest.mark.parametrize("stage, middle", [("direct", 0), ("follower", 0), ("gain", 180)])
def test_phase_is_continuous_and_stands_at_0_or_180_in_the_middle(stage: str, middle: float) -> None:
    rng = np.random.default_rng(23)
    for _ in range(40):
        chain = random_chain(rng, stage=stage, discs="1", resonance=None, source_r=2.2e3)
        found = response(chain, np.geomspace(1e-3, 1e7, 2001))
        assert np.abs(np.diff(found.phase_deg)).max() < 45
    for chain in (SignalChain(stage=stage), SignalChain(stage=stage, pickup_c=1e-9, gate_r=10e3, input="line")):
        found = response(chain)
        top = np.argmax(np.abs(found.gain))
        assert abs(found.phase_deg[top] - middle) < 95
        # 90 degrees ahead for each high-pass, at the lower end
        assert found.phase_deg[0] > found.phase_deg[top] - 1


def test_the_phase_does_not_jump_when_a_slider_moves() -> None:
    phases = [response(SignalChain(stage="gain", pickup_c=c)).phase_deg for c in np.geomspace(50e-12, 500e-9, 60)]
    assert np.abs(np.diff(phases, axis=0)).max() < 30


# -- the rest ---------------------------------------------------------------------------------------------------------
def test_the_default_grid() -> None:
    found = response(SignalChain())
    assert found.frequency is FREQUENCY and len(FREQUENCY) == 400
    assert (FREQUENCY[0], FREQUENCY[-1]) == pytest.approx((10, 100e3))
    assert found.gain.shape == found.gain_db.shape == found.phase_deg.shape == (400,)


@given(chains())
def test_the_search_covers_a_millihertz_to_ten_megahertz(chain: SignalChain) -> None:
    grid = search_grid(chain.values)
    assert grid[0] == pytest.approx(1e-3) and grid[-1] == pytest.approx(1e7)
    assert np.all(np.diff(grid) > 0) and np.diff(np.log(grid)).max() < 0.05
    assert len(grid) < 4000


def test_a_follower_makes_the_cable_matter_little() -> None:
    short, long_ = (response(SignalChain(cable_m=m)).midband_gain for m in (0, 30))
    assert decibels(long_ / short) == pytest.approx(0, abs=0.02)
    bare = [loading(SignalChain(cable_m=m)).full_level for m in (0, 30)]
    assert decibels(bare[1] / bare[0]) < -1.4
