"""Load lines and clip edges against the whole network, in which large capacitors hold their voltage."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.circuit.elements import Capacitor, VoltageSource
from piezolab.circuit.jfet import channel
from piezolab.circuit.load_line import load_line
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.linear import LinearChain
from piezolab.studies.stage_lines import rest_line, signal_line
from piezolab.studies.swing import CUT_OFF_PART, GATE_A, Swing, swing

CHAINS = {
    "follower": {},
    "follower at a divider": {"return": "divider", "return_part": 0.6, "source_r": 10e3},
    "bootstrapped follower": {"return": "tap", "return_part": 0.8},
    "follower with a drain resistor": {"drain_r": 1e3},
    "gain stage": {"stage": "gain", "drain_r": 4.7e3},
    "gain stage without bypass": {"stage": "gain", "bypass_c": 0.0},
    "gain stage with half the resistor bypassed": {"stage": "gain", "bypass_part": 0.5},
    "supply resistor without decoupling": {"stage": "gain", "supply_r": 1e3, "supply_c": 0.0, "drain_r": 3.3e3},
    "warm": {"stage": "gain", "temp_c": 45.0, "drain_r": 3.9e3},
    "into a low input": {"input_r": 2e3},
}
QUIET = {"cable_m": 0.0, "lead_m": 0.0, "input_c": 0.0, "jfet_ciss": 0.2e-12, "jfet_crss": 0.0, "out_c": 100e-6,
         "pickup_c": 100e-9, "pickup_loss": 0.0, "supply_c": 0.0}  # fmt: skip


def frozen(chain: SignalChain, pickup_v: np.ndarray) -> dict[str, np.ndarray]:
    """The transistor at an instant of the signal: capacitors hold their voltage, which is that of rest."""
    network = assemble(chain.values).network
    rest = operating_point(network)
    held = []
    for element in network:
        if isinstance(element, Capacitor):
            held.append(VoltageSource(element.name, element.a, element.b, rest.voltage(element.a, element.b)[()]))
        elif element.name == "E_p":
            held.append(VoltageSource("E_p", element.a, element.b, pickup_v))
        else:
            held.append(element)
    return operating_point(Network(held)).jfets["Q1"]


@pytest.mark.parametrize("name", CHAINS)
def test_each_edge_is_where_its_cause_begins(name) -> None:
    """Just short of an edge the cause is not there yet, just beyond it is, in the network solved anew."""
    chain = SignalChain({**QUIET, **CHAINS[name]})
    edges = swing(LinearChain.of(chain.values))
    rest = frozen(chain, np.zeros(1))
    within, beyond = 0.985, 1.015

    def at(edge: np.ndarray):
        return frozen(chain, np.array([within, beyond]) * edge)

    low = at(edges.cut_off).i_channel / rest.i_channel
    assert low[0] > CUT_OFF_PART > low[1]
    q = at(edges.triode)
    assert q.v_ds[0] > q.v_ds_sat[0] and q.v_ds[1] < q.v_ds_sat[1]
    assert edges.cut_off < 0 < min(edges.triode, edges.gate)
    # far into the triode region a gate edge is no longer on one line with the rest of the network's junctions
    if edges.gate < 1.3 * edges.triode:
        i_g = at(edges.gate).i_gs
        assert i_g[0] < GATE_A < i_g[1]


@settings(max_examples=30)
@given(
    st.floats(300.0, 20e3),
    st.floats(300.0, 10e3),
    st.floats(0.4, 4.0),
    st.floats(1e-3, 15e-3),
    st.sampled_from(["follower", "gain"]),
)
def test_edges_lie_on_the_load_line_and_on_the_channel(source_r, drain_r, vgsoff, idss, stage) -> None:
    chain = SignalChain(stage=stage, source_r=source_r, drain_r=drain_r, jfet_vgsoff=vgsoff, jfet_idss=idss)
    linear = LinearChain.of(chain.values)
    q, line = linear.transistor, signal_line(linear)
    model = linear.assembly.network["Q1"].model
    if q.region != "saturation":
        assert swing(linear).triode == 0
        return
    edges = swing(linear)
    # second route: follow the load line from rest to both edges in small steps, each solved by Newton's method
    e = np.array([edges.cut_off, edges.triode], float)
    i = np.full(2, float(q.i_channel))
    for part in np.linspace(0.0, 1.0, 60)[1:]:
        for _ in range(30):
            v_gs = q.v_gs + np.abs(line.gs_e) * e * part - line.gs_i.real * (i - q.i_channel)
            v_ds = q.v_ds + line.ds_e.real * e * part - line.ds_i.real * (i - q.i_channel)
            now, g_m, g_ds = channel(model, v_gs, v_ds)
            step = (i - now) / (1 + g_m * line.gs_i.real + g_ds * line.ds_i.real)
            i = i - step
            if np.all(np.abs(step) < 1e-9 * float(q.i_channel)):
                break
    assert i[0] == pytest.approx(CUT_OFF_PART * float(q.i_channel), rel=1e-3)
    assert v_ds[1] == pytest.approx(v_gs[1] - float(np.asarray(model.v_off)), rel=1e-3)


@pytest.mark.parametrize("name", [*CHAINS, "default"])
def test_edges_against_the_circuit_floors_own_load_line(name) -> None:
    """A third route, with Newton's method, the gate's junctions and the drive matched to the small-signal response."""
    chain = SignalChain(CHAINS.get(name, {}))
    linear = LinearChain.of(chain.values)
    assembly, edges = linear.assembly, swing(linear)
    line = load_line(assembly.network, linear.point, 1000.0, assembly.drive, assembly.load)
    for edge, begun in (
        (edges.cut_off, lambda q: q.i_channel < CUT_OFF_PART * linear.transistor.i_channel),
        (edges.triode, lambda q: q.v_ds < q.v_ds_sat),
    ):
        points, _ = line.at(np.array([0.98, 1.02]) * float(edge))
        assert begun(points["Q1"]).tolist() == [False, True]


def test_closed_form_of_the_source_follower() -> None:
    """lambda = 0, source resistor alone: V_S = R I; cut-off lies where the gate is V_GS(off) below what is left."""
    chain = SignalChain({**QUIET, "jfet_idss": 5e-3, "jfet_vgsoff": 2.0, "jfet_lambda": 0.0, "jfet_ig": 0.0,
                         "bleed_r": 100e6, "input_r": 1e9, "gate_r": 1e6, "pickup_c": 500e-9})  # fmt: skip
    linear = LinearChain.of(chain.values)
    i = float(linear.transistor.i_d)
    edges = swing(linear)
    v = float(chain.source_r) * i
    assert np.sqrt(i / 5e-3) == pytest.approx(1 - v / 2.0)
    low = 0.01 * i
    assert edges.cut_off == pytest.approx(low * 3900.0 - 2.0 * (1 - np.sqrt(low / 5e-3)), rel=1e-3)
    # triode where the gate is V_GS(off) under the drain: the gate stood at 0 V, the supply at 9 V
    assert edges.triode == pytest.approx(9.0 - 2.0, rel=1e-3)


def test_lines_pass_through_the_operating_point() -> None:
    for changes in CHAINS.values():
        linear = LinearChain.of(SignalChain(changes).values)
        line, q = rest_line(linear.assembly.network), linear.transistor
        assert line.v_ds - line.r_ds * q.i_d == pytest.approx(float(q.v_ds), abs=1e-4)
        assert line.v_gs - line.r_gs * q.i_d == pytest.approx(float(q.v_gs), abs=1e-3)


def test_a_batch_gives_what_its_members_give() -> None:
    source_r = np.array([680.0, 1.5e3, 3.3e3])
    chain = SignalChain(stage="gain", drain_r=2.2e3)
    many = swing(LinearChain.of(chain.values.but(source_r=source_r)))
    for k, ohm in enumerate(source_r):
        one = swing(LinearChain.of(chain.but(source_r=float(ohm)).values))
        for name in ("up", "down", "headroom", "imbalance_db"):
            assert getattr(many, name)[k] == pytest.approx(float(getattr(one, name)), rel=1e-9)
        assert many.cause[k] == one.cause


def test_sides_and_evenness() -> None:
    edges = Swing(cut_off=np.array([-0.5]), triode=np.array([2.0]), gate=np.array([1.0]))
    assert (edges.up, edges.down, edges.headroom) == (1.0, 0.5, 0.5)
    assert edges.imbalance_db == pytest.approx(6.0206, abs=1e-3)
    assert edges.cause == "cut-off"
    assert Swing(np.array([-0.5]), np.array([0.0]), np.array([1.0])).imbalance_db == np.inf


def test_opposed_discs_never_clip_and_no_stage_is_refused() -> None:
    assert swing(LinearChain.of(SignalChain(discs="2px").values)).headroom == np.inf
    with pytest.raises(ValueError, match="without a stage"):
        swing(LinearChain.of(SignalChain(stage="direct").values))
