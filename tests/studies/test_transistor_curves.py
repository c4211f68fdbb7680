"""What is drawn crosses where the operating point is."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.population import population
from piezolab.studies.transistor_curves import CLOUD, GATE_STEPS, POINTS, curves

CHAINS = {
    "follower": {},
    "follower at a divider": {"return": "divider"},
    "gain stage": {"stage": "gain"},
    "gain stage in the triode region": {"stage": "gain", "jfet": "2N3819"},
    "no source resistor": {"source_r": 0.0},
    "measured": {"jfet_idss": 5e-3, "jfet_vgsoff": 2.0},
}


def crossing(line, curve):
    """Where a straight line of two points crosses a curve, both as (x, y)."""
    (x, y), (cx, cy) = line, curve
    on_line = np.interp(cx, *((x, y) if x[0] < x[1] else (x[::-1], y[::-1])), left=np.nan, right=np.nan)
    away = cy - on_line
    at = np.flatnonzero(np.sign(away[1:]) * np.sign(away[:-1]) <= 0)[0]
    part = away[at] / (away[at] - away[at + 1])
    return cx[at] + part * (cx[at + 1] - cx[at]), cy[at] + part * (cy[at + 1] - cy[at])


@pytest.mark.parametrize("name", [name for name in CHAINS if name != "no source resistor"])
def test_transfer_curve_and_bias_line_cross_at_rest(name) -> None:
    chain = SignalChain(CHAINS[name])
    drawn, rest = curves(chain), bias(chain)
    v_gs, i_d = crossing(drawn.bias_line, drawn.transfer)
    assert v_gs == pytest.approx(float(rest.v_gs), abs=0.02)
    assert i_d == pytest.approx(float(rest.i_d), rel=0.05)
    assert drawn.rest.i_d == rest.i_d


@pytest.mark.parametrize("name", CHAINS)
def test_both_load_lines_pass_through_rest(name) -> None:
    chain = SignalChain(CHAINS[name])
    drawn, rest = curves(chain), bias(chain)
    for v, i in (drawn.rest_load, drawn.signal_load):
        assert i[0] == 0.0
        at = v[0] + (v[1] - v[0]) * float(rest.i_d) / i[1]
        assert at == pytest.approx(float(rest.v_ds), abs=2e-3)


def test_load_lines_end_at_the_supply_and_at_its_current() -> None:
    chain = SignalChain(stage="gain")
    drawn = curves(chain)
    np.testing.assert_allclose(drawn.rest_load[0], [9.0, 0.0], atol=1e-9)
    assert drawn.rest_load[1][1] == pytest.approx(9.0 / (6.8e3 + 1.5e3))
    # with the source bypassed the signal sees the drain resistor beside bleed and input only
    v, i = drawn.signal_load
    assert (v[0] - v[1]) / i[1] == pytest.approx(1 / (1 / 6.8e3 + 1 / 100e3 + 1 / 1e6), rel=0.01)


def test_no_resistor_means_an_upright_line() -> None:
    v, i = curves(SignalChain(source_r=0.0)).rest_load
    assert v[0] == v[1] == pytest.approx(9.0) and i[1] > 0


def test_output_curves_are_those_of_their_gate_voltages() -> None:
    drawn = curves(SignalChain())
    v_ds, i_d = drawn.output
    assert i_d.shape == (GATE_STEPS, POINTS) and np.all(np.diff(i_d[:, -1]) < 0)
    assert np.all(np.diff(i_d, axis=1) >= 0)
    # on the edge of saturation V_DS is the overdrive: there each curve has bent
    edge_v, edge_i = drawn.saturation_edge
    for step, row in zip(drawn.steps, i_d, strict=True):
        bend = step - drawn.steps[0] + edge_v[-1]
        assert np.interp(bend, v_ds, row) == pytest.approx(np.interp(bend, edge_v, edge_i), rel=0.01, abs=2e-5)


def test_cloud_is_the_type_unless_measured() -> None:
    chain = SignalChain()
    drawn = curves(chain)
    assert drawn.cloud.i_d.shape == drawn.parts[0].shape == (CLOUD,)
    low, middle, high = drawn.type_transfer[1]
    assert np.all(low <= middle) and np.all(middle <= high)
    parts = population(chain.jfet, CLOUD)
    assert high[-1] == pytest.approx(np.percentile(parts.idss * (1 + 0.02 * 8.0) / (1 + 0.02 * 15.0), 99), rel=2e-3)
    own = curves(SignalChain(jfet_idss=5e-3, jfet_vgsoff=2.0))
    assert own.parts[0].tolist() == [-2.0] and own.parts[1].tolist() == [5e-3]
    np.testing.assert_allclose(own.type_transfer[1][0], own.type_transfer[1][2])


def test_half_measured_leaves_a_cloud_of_the_other_half() -> None:
    for changes in ({"jfet_idss": 5e-3}, {"jfet_vgsoff": 1.5}):
        drawn = curves(SignalChain(changes))
        assert drawn.parts[0].shape == drawn.parts[1].shape == drawn.cloud.i_d.shape == (CLOUD,)
        assert np.all(drawn.type_transfer[1][0] <= drawn.type_transfer[1][2])
    assert set(curves(SignalChain(jfet_idss=5e-3)).parts[1]) == {5e-3}


def test_no_stage_has_no_curves() -> None:
    assert curves(SignalChain(stage="direct")) is None
