"""Direct voltage at the jack and the thump, against the capacitor's charge integrated by scipy."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from piezolab.chain import SignalChain
from piezolab.studies.plugging import leakage, plugging


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
