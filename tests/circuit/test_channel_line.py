"""Channels along a load line against a general solver, the load line with its gates' currents, and closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import root

from piezolab.circuit.channel_line import ChannelLine
from piezolab.circuit.elements import GROUND, Capacitor, Jfet, Resistor, VoltageSource
from piezolab.circuit.errors import OperatingPointError
from piezolab.circuit.jfet import JfetModel, channel
from piezolab.circuit.load_line import LoadLine, load_line
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point

MODELS = (JfetModel(1e-3, -2.0, 0.02), JfetModel(2e-3, -1.2, 0.03))


def tandem(drain_r: float, follow_r: float, load_r: float) -> LoadLine:
    """A gain stage that drives a follower, with a load behind a capacitor."""
    network = Network(
        [
            VoltageSource("E", "gate", GROUND, 0.0),
            VoltageSource("V", "plus", GROUND, 9.0),
            Resistor("R_D", "plus", "drain", drain_r),
            Jfet("Q1", "drain", "gate", "source", MODELS[0]),
            Resistor("R_S", "source", GROUND, 1.5e3),
            Jfet("Q2", "plus", "drain", "out", MODELS[1]),
            Resistor("R_F", "out", GROUND, follow_r),
            Capacitor("C", "out", "jack", 10e-6),
            Resistor("R_L", "jack", GROUND, load_r),
        ]
    )
    return load_line(network, operating_point(network), 1e3, "E", "jack")


def start(line: ChannelLine, size: int) -> np.ndarray:
    """The currents at rest, as often as there are signals."""
    return np.repeat(line.current, size, axis=1)


@given(st.floats(3, 4), st.floats(3, 5), st.floats(3, 6), st.floats(-0.4, 0.3))
def test_with_quiet_gates_it_is_the_whole_load_line(drain_r: float, follow_r: float, load_r: float, e: float) -> None:
    whole = tandem(10**drain_r, 10**follow_r, 10**load_r)
    points, _ = whole.at(np.array([e]))
    if max(float(q.v_gs[0]) for q in points.values()) > 0.1:
        return
    line = ChannelLine.of(whole, ("Q1", "Q2"))
    state = line.solve(np.array([e]), line.current)
    for k, q in enumerate(points.values()):
        assert state.i[k] == pytest.approx(q.i_channel, rel=1e-6, abs=1e-12)
        assert state.v[:, k] == pytest.approx(np.stack([q.v_gs, q.v_ds]), rel=1e-6, abs=1e-6)


@given(st.lists(st.floats(-6, 6), min_size=1, max_size=9), st.floats(3, 4.5), st.floats(3, 5))
def test_currents_against_a_general_solver(drive: list[float], drain_r: float, follow_r: float) -> None:
    """Where cut-off, triode region and reversed channels alike are met on the way."""
    line = ChannelLine.of(tandem(10**drain_r, 10**follow_r, 1e4), ("Q1", "Q2"))
    e = np.array(drive)
    state = line.take(np.zeros(len(e), int)).solve(e, start(line, len(e)))

    def miss(ma: np.ndarray, at: float) -> np.ndarray:
        i = 1e-3 * ma
        lost = np.einsum("pkm,m->pk", line.ohm[..., 0], i - line.current[:, 0])
        v = line.rest[..., 0] + line.drive[..., 0] * at - lost
        return 1e3 * (i - [float(channel(model, *v[:, k])[0]) for k, model in enumerate(MODELS)])

    for n, at in enumerate(drive):
        found = root(miss, 1e3 * state.i[:, n] + 0.01, args=(at,), tol=1e-13)
        assert np.abs(miss(1e3 * state.i[:, n], at)).max() < 1e-4
        if found.success:
            assert state.i[:, n] == pytest.approx(1e-3 * found.x, rel=1e-5, abs=1e-9)


def test_a_follower_in_closed_form() -> None:
    """beta (v - R i - V_off)^2 = i with lambda = 0 is a quadratic in i."""
    model, ohm, rest_i = JfetModel(1e-3, -2.0), 2e3, 0.5e-3
    rest_gs = -2.0 + np.sqrt(rest_i / 1e-3)
    one = np.array([[[rest_gs]], [[50.0]]])
    line = ChannelLine(
        ("Q",), (model,), one, np.array([[[1.0]], [[0.0]]]), np.array([[[[ohm]]], [[[0.0]]]]), np.array([[rest_i]]),
    )  # fmt: skip
    e = np.linspace(-1.4, 3.0, 23)
    state = line.take(np.zeros(23, int)).solve(e, start(line, 23))
    w = rest_gs + e + ohm * rest_i + 2.0  # over V_GS(off), were there no current
    by_hand = (w * ohm * 2 + 1e3 - np.sqrt((w * ohm * 2 + 1e3) ** 2 - 4 * ohm**2 * w**2)) / (2 * ohm**2)
    np.testing.assert_allclose(state.i[0], by_hand, rtol=1e-7)


def test_three_that_do_not_see_each_other_are_three_times_one() -> None:
    """The way for many transistors, beside the written-out ones for one and two."""
    models = (*MODELS, JfetModel(0.5e-3, -3.0, 0.01))
    rest = np.array([[-1.0, -0.6, -2.0], [5.0, 4.0, 6.0]])[..., None]
    own = [channel(model, *rest[:, k, 0])[0] for k, model in enumerate(models)]
    ohm = np.zeros((2, 3, 3, 1))
    ohm[0, range(3), range(3), 0], ohm[1, range(3), range(3), 0] = 1e3, 4e3
    drive = np.array([[1.0, 1.0, 1.0], [0.0, -0.1, 0.2]])[..., None]
    whole = ChannelLine(("A", "B", "C"), models, rest, drive, ohm, np.array(own)[:, None])
    e = np.linspace(-1.0, 1.0, 11)
    state = whole.take(np.zeros(11, int)).solve(e, start(whole, 11))
    for k, model in enumerate(models):
        at = slice(k, k + 1)
        one = ChannelLine(("Q",), (model,), rest[:, at], drive[:, at], ohm[:, at, at], whole.current[at])
        alone = one.take(np.zeros(11, int)).solve(e, start(one, 11))
        np.testing.assert_allclose(state.i[k], alone.i[0], rtol=1e-8)


def test_along_is_the_slope_of_the_currents() -> None:
    line = ChannelLine.of(tandem(6.8e3, 1e4, 1e4), ("Q1", "Q2"))
    near = [line.solve(np.array([e]), line.current) for e in (0.1 - 1e-6, 0.1, 0.1 + 1e-6)]
    np.testing.assert_allclose(near[1].along, (near[2].i - near[0].i) / 2e-6, rtol=1e-5)


def test_what_does_not_settle_is_said() -> None:
    line = ChannelLine.of(tandem(6.8e3, 1e4, 1e4), ("Q1", "Q2"))
    with pytest.raises(OperatingPointError, match="Q1, Q2: no currents"):
        line.solve(np.array([np.nan]), line.current)
