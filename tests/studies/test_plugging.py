"""Direct voltage at the jack and the thump, against the capacitor's charge integrated by scipy."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from piezolab.chain import SignalChain
from piezolab.quantity import series
from piezolab.studies.output import output_corner
from piezolab.studies.plugging import leakage, plugging, remedies
from piezolab.studies.response import response


def test_leakage_rule() -> None:
    """0.01 C V or 3 uA at worst, a tenth of it typically; film none (common practice, no source)."""
    assert leakage(2.2e-6, 1.0) == pytest.approx((0.3e-6, 3e-6))
    assert leakage(100e-6, 9.0) == pytest.approx((0.9e-6, 9e-6))
    assert leakage(470e-9, 9.0) == (0.0, 0.0)
    assert leakage(10e-6, 0.0) == (0.0, 0.0)
    assert leakage(10e-6, -9.0) == pytest.approx((-0.3e-6, -3e-6))


def test_leakage_times_bleed_and_input_is_the_direct_voltage() -> None:
    found = plugging(SignalChain())
    assert found.dc_v == pytest.approx(0.3e-6 / (1 / 100e3 + 1 / 1e6), rel=1e-9)
    assert found.dc_worst_v == pytest.approx(10 * found.dc_v, rel=1e-9)
    assert plugging(SignalChain(stage="direct")) is None


@pytest.mark.parametrize("bleed", [100e3, 1e6, 10e6, 100e6])
@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_step_and_settling_against_integration(bleed: float, stage: str) -> None:
    """One capacitor between a voltage and the bleed resistor for a minute, then with the input in parallel."""
    chain = SignalChain(stage=stage, bleed_r=bleed, out_c=470e-9)
    found = plugging(chain)
    c, load = 470e-9, 1e6
    behind = {"follower": 400.0, "gain": 6.5e3}[stage]  # the stage's own output resistance, near enough here

    def charge(resistance: float, seconds: float, start: float) -> np.ndarray:
        run = solve_ivp(
            lambda t, v: (found.rest_v - v) / (resistance * c), (0, seconds), [start], rtol=1e-9, atol=1e-12,
            dense_output=True,
        )  # fmt: skip
        return run.sol

    on_capacitor = charge(bleed + behind, 60.0, 0.0)(60.0)[0]
    step = (found.rest_v - on_capacitor) * bleed / (bleed + behind)
    assert found.step_v == pytest.approx(step, rel=0.02, abs=1e-6)
    if abs(step) > 0.011:
        both = 1 / (1 / bleed + 1 / load)
        times = np.linspace(0, 60, 200001)
        jack = step * np.exp(-times / ((both + behind) * c))
        settled = times[np.argmax(np.abs(jack) <= 10e-3)]
        assert found.settle_s == pytest.approx(settled, rel=0.02, abs=1e-3)
    else:
        assert found.settle_s == 0.0


def test_smaller_bleed_or_capacitor_thumps_less() -> None:
    large = plugging(SignalChain(bleed_r=100e6))
    assert large.step_v > 0.5
    assert plugging(SignalChain(bleed_r=1e6)).step_v < large.step_v
    assert plugging(SignalChain(bleed_r=100e6, out_c=100e-9)).step_v < large.step_v


def test_what_leaks_cannot_exceed_what_is_there() -> None:
    """0.3 uA through 100 Mohm would be 30 V; behind the capacitor there is 1 V."""
    found = plugging(SignalChain(bleed_r=100e6))
    assert found.step_v == pytest.approx(found.rest_v, rel=1e-4)
    assert 0 < found.dc_v < found.dc_worst_v < found.rest_v


@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_switching_on_with_the_plug_in_against_integration(stage: str) -> None:
    """An empty capacitor charged through the bleed resistor beside the input."""
    chain = SignalChain(stage=stage, out_c=470e-9, input="line")
    found, values = plugging(chain), chain.values
    both = 1 / (1 / values.bleed_r + 1 / values.input_r)
    behind = output_corner(chain).stage_ohm
    assert found.switch_on_v == pytest.approx(found.rest_v * both / (both + behind), rel=0.02)
    slow = 470e-9 * (both + behind)
    run = solve_ivp(lambda t, v: (found.rest_v - v) / slow, (0, 0.3), [0.0], rtol=1e-9, atol=1e-12, dense_output=True)
    times = np.linspace(0, 0.3, 100_001)
    jack = (found.rest_v - run.sol(times)[0]) * both / (both + behind)
    assert found.switch_on_s == pytest.approx(times[np.argmax(np.abs(jack) <= 10e-3)], rel=0.02)


@pytest.mark.parametrize(
    "chain",
    [SignalChain(), SignalChain(stage="gain", bleed_r=10e6), SignalChain(bleed_r=100e6, input="line", out_c=10e-6)],
)
def test_each_remedy_is_quiet_costs_what_it_says_and_no_larger_value_would_do(chain: SignalChain) -> None:
    found = remedies(chain)
    assert {remedy.key for remedy in found} == {"out_c", "bleed_r"}
    before = response(chain, np.array([1000.0]))
    for remedy in found:
        mended = chain.but({remedy.key: remedy.value})
        after = response(mended, np.array([1000.0]))
        assert plugging(mended) == remedy.then and abs(remedy.then.step_v) <= 10e-3
        assert remedy.low_note_cost_db == pytest.approx(20 * np.log10(before.low_note_gain / after.low_note_gain))
        assert remedy.level_cost_db == pytest.approx(20 * np.log10(before.gain_1khz / after.gain_1khz))
        assert remedy.low_corner_hz == after.low_corner_hz
        has = chain.values[remedy.key]
        row = series({"out_c": "E6", "bleed_r": "E12"}[remedy.key])
        every = [value * 10.0**decade for value in row for decade in range(-12, 9)]
        larger = [value for value in every if 1.001 * remedy.value < value < 0.999 * has]
        assert all(abs(plugging(chain.but({remedy.key: value})).step_v) > 10e-3 for value in larger)


def test_where_it_is_quiet_there_is_nothing_to_mend() -> None:
    assert remedies(SignalChain(out_c=470e-9)) == ()
    assert remedies(SignalChain(stage="direct")) == ()
