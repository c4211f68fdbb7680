"""Every stage and option: the network is the one that was drawn by hand."""

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.parameter import Quantity
from piezolab.chain.parameters import all_parameters
from piezolab.chain.parts import Part, part
from piezolab.chain.stages import all_stages, controls, stage_named
from piezolab.chain.stages.common_parts import model
from piezolab.chain.stages.shared_controls import GATE_R, SHARED
from piezolab.chain.stages.stage import Stage
from piezolab.chain.values import Values
from piezolab.circuit.elements import Capacitor, Element, Inductor, Jfet, Resistor, VoltageSource
from piezolab.circuit.errors import FloatingNodeError
from piezolab.circuit.jfet import jfet_from_sheet
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.linear import LinearChain
from tests.chain.own_stages import SunkFollower, known
from tests.chain.strategies import chains

PICKUP = [
    VoltageSource("E_p", "charge", "ground", 0.0),
    Capacitor("C_p", "charge", "pickup", 15e-9, 0.02),
    Resistor("R_p", "pickup", "ground", 1e9),
    Capacitor("C_lead", "pickup", "ground", 0.3 * 100e-12),
]
SUPPLY = [VoltageSource("B1", "supply", "ground", 9.0), Capacitor("C_sup", "supply", "ground", 10e-6)]
OUTPUT = [
    Resistor("R_bleed", "jack", "ground", 100e3),
    Capacitor("C_cable", "jack", "ground", 3 * 100e-12),
    Resistor("R_in", "jack", "ground", 1e6),
    Capacitor("C_in", "jack", "ground", 100e-12),
]
FRAME = PICKUP + SUPPLY + OUTPUT
GATE = Resistor("R_G", "pickup", "ground", 4.7e6)
DIVIDER = [
    Resistor("R_G", "pickup", "divider", 4.7e6),
    Resistor("R_1", "supply", "divider", 1.2e6),
    Resistor("R_2", "divider", "ground", 0.8e6),
]


def q1(drain: str, gate: str, source: str) -> Jfet:
    """The default type's typical part, from the published limits that the catalogue holds: J113."""
    typical = {"idss": np.sqrt(2e-3 * 30e-3), "vds_test": 15.0, "lambda_": 0.02, "vgsoff": -1.2388205908607357}
    model_ = jfet_from_sheet(**typical, ciss=7e-12, crss=3e-12, igss=5e-12, corner_hz=300.0)
    return Jfet("Q1", drain, gate, source, model_)


def c_out(node: str) -> Capacitor:
    return Capacitor("C_out", node, "jack", 2.2e-6)


FOLLOWER = [q1("supply", "pickup", "source"), c_out("source")]
GAIN = [q1("drain", "pickup", "source"), Resistor("R_D", "supply", "drain", 6.8e3), c_out("drain"), GATE]
RS = Resistor("R_S", "source", "ground", 3.9e3)

HAND_DRAWN: list[tuple[dict[str, Any], list[Element]]] = [
    ({}, [*FOLLOWER, GATE, RS]),
    (
        {"return": "tap", "return_part": 0.4},
        [
            *FOLLOWER,
            Resistor("R_G", "pickup", "tap", 4.7e6),
            Resistor("R_S1", "source", "tap", 3.9e3 * 0.6),
            Resistor("R_S2", "tap", "ground", 3.9e3 * 0.4),
        ],
    ),
    (
        {"return": "divider", "return_part": 0.4},
        [*FOLLOWER, RS, *DIVIDER, Capacitor("C_div", "divider", "ground", 1e-6)],
    ),
    ({"return": "divider", "return_part": 0.4, "divider_c": 0}, [*FOLLOWER, RS, *DIVIDER]),
    (
        {"gate_stop": 1e3},
        [q1("supply", "gate", "source"), c_out("source"), GATE, RS, Resistor("R_stop", "pickup", "gate", 1e3)],
    ),
    (
        {"drain_r": 2.2e3},
        [q1("drain", "pickup", "source"), c_out("source"), GATE, RS, Resistor("R_D", "supply", "drain", 2.2e3)],
    ),
    ({"bypass_c": 1e-6}, [*FOLLOWER, GATE, RS, Capacitor("C_S", "source", "ground", 1e-6)]),
    (
        {"return": "tap", "return_part": 0.75, "bypass_c": 1e-6, "bypass_part": 0.25},
        [
            *FOLLOWER,
            Resistor("R_G", "pickup", "tap", 4.7e6),
            Resistor("R_S1", "source", "tap", 3.9e3 * 0.25),
            Resistor("R_S2", "tap", "bypass", 3.9e3 * 0.5),
            Resistor("R_S3", "bypass", "ground", 3.9e3 * 0.25),
            Capacitor("C_S", "bypass", "ground", 1e-6),
        ],
    ),
    (
        {"return": "tap", "return_part": 0.25, "bypass_c": 1e-6, "bypass_part": 0.75},
        [
            *FOLLOWER,
            Resistor("R_G", "pickup", "tap", 4.7e6),
            Resistor("R_S1", "source", "bypass", 3.9e3 * 0.25),
            Resistor("R_S2", "bypass", "tap", 3.9e3 * 0.5),
            Resistor("R_S3", "tap", "ground", 3.9e3 * 0.25),
            Capacitor("C_S", "bypass", "ground", 1e-6),
        ],
    ),
    (
        {"return": "tap", "return_part": 0.5, "bypass_c": 1e-6, "bypass_part": 0.5},
        [
            *FOLLOWER,
            Resistor("R_G", "pickup", "tap", 4.7e6),
            Resistor("R_S1", "source", "tap", 3.9e3 * 0.5),
            Resistor("R_S2", "tap", "ground", 3.9e3 * 0.5),
            Capacitor("C_S", "tap", "ground", 1e-6),
        ],
    ),
    ({"source_r": 0}, [q1("supply", "pickup", "ground"), c_out("ground"), GATE]),
    ({"source_r": 0, "return": "tap", "bypass_c": 1e-6}, [q1("supply", "pickup", "ground"), c_out("ground"), GATE]),
    (
        {"stage": "gain"},
        [*GAIN, Resistor("R_S", "source", "ground", 1.5e3), Capacitor("C_S", "source", "ground", 22e-6)],
    ),
    ({"stage": "gain", "bypass_c": 0}, [*GAIN, Resistor("R_S", "source", "ground", 1.5e3)]),
    (
        {"stage": "gain", "bypass_part": 0.6},
        [
            *GAIN,
            Resistor("R_S1", "source", "bypass", 1.5e3 * 0.4),
            Resistor("R_S2", "bypass", "ground", 1.5e3 * 0.6),
            Capacitor("C_S", "bypass", "ground", 22e-6),
        ],
    ),
    (
        {"stage": "gain", "drain_r": 0, "source_r": 0},
        [q1("supply", "pickup", "ground"), c_out("supply"), GATE],
    ),
]


def unordered(elements: Any) -> dict[str, Element]:
    found = {element.name: element for element in elements}
    assert len(found) == len(list(elements))
    return found


def same(one: Element, other: Element) -> bool:
    """Equal but for the last digit of a resistor's share."""
    if isinstance(one, Resistor) and isinstance(other, Resistor):
        where = (one.name, one.a, one.b) == (other.name, other.a, other.b)
        return where and bool(np.isclose(one.ohm, other.ohm, rtol=1e-14, atol=0))
    return one == other


@pytest.mark.parametrize("entered, drawn", HAND_DRAWN, ids=lambda x: str(x) if isinstance(x, dict) else "")
def test_the_network_is_the_one_drawn_by_hand(entered: dict[str, Any], drawn: list[Element]) -> None:
    found = unordered(assemble(SignalChain(entered).values).network)
    wanted = unordered([*FRAME, *drawn])
    assert set(found) == set(wanted)
    for name in wanted:
        assert same(found[name], wanted[name]), (found[name], wanted[name])


def test_no_stage() -> None:
    found = assemble(SignalChain(stage="direct", input_c=0).values)
    drawn = [
        *PICKUP,
        Capacitor("C_cable", "pickup", "ground", 3 * 100e-12),
        Resistor("R_in", "pickup", "ground", 1e6),
    ]
    assert unordered(found.network) == unordered(drawn)
    assert (found.jack, found.load) == ("pickup", "pickup")


def test_supply_pad_and_plugs() -> None:
    chain = SignalChain(
        supply_r=470, supply_c=0, supply="adapter", supply_v=12, lead_m=0, cable_m=0, pad=(10e3, 2.2e3), input_c=0
    )
    assembly = assemble(chain.values)
    drawn = [
        *PICKUP[:3], *FOLLOWER, GATE, RS, Resistor("R_bleed", "jack", "ground", 100e3),
        VoltageSource("B1", "battery", "ground", 12.0), Resistor("R_sup", "battery", "supply", 470.0),
        Resistor("R_pad1", "jack", "input", 10e3), Resistor("R_pad2", "input", "ground", 2.2e3),
        Resistor("R_in", "input", "ground", 1e6),
    ]  # fmt: skip
    assert unordered(assembly.network) == unordered(drawn)
    assert (assembly.jack, assembly.load) == ("jack", "input")
    assert part(assembly.parts, "B1").label == "mains adapter"
    assert assembly.names("cable") == () and set(assembly.names("input")) == {"R_pad1", "R_pad2", "R_in"}
    assert {p.name for p in assembly.where("supply")} == {"B1", "R_sup"}


@pytest.mark.parametrize("discs, signs", [("2p", (1, 1)), ("2px", (1, -1)), ("2s", (1, 1)), ("2sx", (1, -1))])
def test_two_discs(discs: str, signs: tuple[int, int]) -> None:
    assembly = assemble(SignalChain(stage="direct", discs=discs).values)
    between = "between discs" if discs[1] == "s" else None
    low_of_1, high_of_2 = between or "ground", between or "pickup"
    drawn = [
        VoltageSource("E_p1", "charge1", low_of_1, 0.0), Capacitor("C_p1", "charge1", "pickup", 15e-9, 0.02),
        Resistor("R_p1", "pickup", low_of_1, 1e9),
        VoltageSource("E_p2", "charge2", "ground", 0.0), Capacitor("C_p2", "charge2", high_of_2, 15e-9, 0.02),
        Resistor("R_p2", high_of_2, "ground", 1e9),
    ]  # fmt: skip
    found = unordered(assembly.network)
    assert {name: found[name] for name in unordered(drawn)} == unordered(drawn)
    assert dict(assembly.drive) == {"E_p1": signs[0], "E_p2": signs[1]}


def test_a_free_disc() -> None:
    """Equivalent circuit of IEEE Std 176-1987: C_0 beside R, L, C_m."""
    f, q, k, c_p = 4e3, 30.0, 0.25, 15e-9
    assembly = assemble(SignalChain(stage="direct", resonance=(f, q, k)).values)
    c_0 = c_p / 1.25
    c_m = c_p - c_0
    inductance = 1 / ((2 * np.pi * f) ** 2 * c_m)
    drawn = [
        VoltageSource("E_p", "charge", "ground", 0.0), Capacitor("C_m", "charge", "mass", c_m, 0.02),
        Inductor("L_m", "mass", "damping", inductance),
        Resistor("R_m", "damping", "pickup", 2 * np.pi * f * inductance / q),
        Capacitor("C_p", "pickup", "ground", c_0, 0.02), Resistor("R_p", "pickup", "ground", 1e9),
    ]  # fmt: skip
    found = unordered(assembly.network)
    for name, element in unordered(drawn).items():
        assert found[name] == element
    assert assembly.drive["E_p"] == pytest.approx(c_p / c_m)


def test_temperature_moves_the_disc() -> None:
    for temp_c, factor in ((25, 1.0), (35, 1.04), (-20, 0.82), (60, 1.14)):
        found = unordered(assemble(SignalChain(temp_c=temp_c).values).network)
        assert found["C_p"].farad == pytest.approx(15e-9 * factor)


class Unheld(SunkFollower):
    """Its output node hangs between two transistors."""

    def parts(self, values: Values) -> tuple[Part, ...]:
        return tuple(each for each in super().parts(values) if each.name != "R_hold")


def test_every_stage_that_is_offered_has_a_point_of_rest() -> None:
    for stage in all_stages():
        assert set(LinearChain.of(SignalChain(stage=stage).values).point.jfets) == {
            each.name for each in assemble(SignalChain(stage=stage).values).parts if each.kind == "jfet"
        }
    with known(Unheld), pytest.raises(FloatingNodeError, match="node 'source' .*: add a resistor"):
        operating_point(assemble(SignalChain(stage="sunk").values).network)


# -- what holds for every chain ---------------------------------------------------------------------------------------
@given(chains())
def test_parts_have_names_keys_and_kinds_of_their_own(chain: SignalChain) -> None:
    assembly = assemble(chain.values)
    names = [p.name for p in assembly.parts]
    assert len(set(names)) == len(names)
    for p in assembly.parts:
        ours = p.where != "board" or chain.stage in ("follower", "gain")
        assert p.key in all_parameters() or p.key == "" and (p.kind == "source" or not ours)  # others may fix a value
        assert p.where in ("pickup", "lead", "board", "supply", "cable", "input")
        assert p.label and p.label == p.label.strip()
        assert len(p.nodes) == (3 if p.kind == "jfet" else 2)
        if p.kind not in ("jfet", "clamp", "source"):
            assert p.value >= 0 and p.unit in ("ohm", "F", "H", "V")
    assert assembly.stage is stage_named(chain.stage)
    assert {assembly.jack, assembly.load, "pickup"} <= set(assembly.network.nodes)
    assert set(assembly.drive) == {p.name for p in assembly.parts if p.kind == "source"}


def test_no_resistor_of_nought_ohms_is_drawn() -> None:
    """What is left out, or has no length, is no part: neither on the schematic nor in the shopping list."""
    for stage, return_, bypass, part_, tap in product(
        ("follower", "gain"), ("ground", "tap", "divider"), (0.0, 1e-6), (0.3, 0.5, 1.0), (0.3, 0.5)
    ):
        chain = SignalChain(
            {"stage": stage, "return": return_, "bypass_c": bypass, "bypass_part": part_, "return_part": tap}
        )
        for p in assemble(chain.values).parts:
            assert p.kind not in ("resistor", "capacitor") or p.value > 0, (chain, p)


def test_the_source_ladder_adds_up() -> None:
    chain = SignalChain({"return": "tap", "return_part": 0.7, "bypass_c": 1e-6, "bypass_part": 0.2})
    parts = [p.value for p in assemble(chain.values).parts if p.name.startswith("R_S")]
    assert sum(parts) == pytest.approx(3.9e3, rel=1e-14) and len(parts) == 3


def test_a_batch_may_not_put_two_taps_in_different_order() -> None:
    values = SignalChain({"return": "tap", "bypass_c": 1e-6, "bypass_part": 0.5}).values
    ordered = assemble(values.but(return_part=np.array([0.5, 0.6, 0.9])))
    assert ordered.network.batch_shape == (3,)
    with pytest.raises(ValueError, match="same order"):
        assemble(values.but(return_part=np.array([0.4, 0.6])))


@pytest.mark.parametrize("stage", ["follower", "gain"])
@pytest.mark.parametrize("key", ["gate_r", "source_r", "drain_r", "bypass_c", "bypass_part", "gate_stop", "supply_r"])
def test_a_batch_gives_what_its_members_give(stage: str, key: str) -> None:
    parameter = all_parameters()[key]
    assert isinstance(parameter, Quantity)
    top = min(parameter.high, 20e3 if parameter.unit == "ohm" and key != "gate_r" else parameter.high)
    sizes = np.array([parameter.low, 0.5 * (parameter.low + top), top])
    chain, f = SignalChain(stage=stage), np.array([30.0, 1e3])
    # where the stage has no use for the value there is no batch
    together = np.broadcast_to(LinearChain.of(chain.values.but(**{key: sizes})).gain(f), (3, 2))
    for size, row in zip(sizes, together, strict=True):
        alone = LinearChain.of(chain.but({key: float(size)}).values).gain(f)
        assert row == pytest.approx(alone, rel=1e-9, abs=1e-15)


def test_the_transistor_of_a_chain() -> None:
    chain = SignalChain(
        jfet_idss=6e-3, jfet_vds=10, jfet_vgsoff=-2, jfet_lambda=0.03, jfet_ciss=5e-12, jfet_crss=1e-12, jfet_ig=2e-9
    )
    q = model(chain.values)
    assert q.beta == pytest.approx(6e-3 / 1.3 / 4, rel=1e-14)
    assert (q.v_off, q.lambda_) == (-2, 0.03)
    assert (q.cgs, q.cgd, q.leakage) == pytest.approx((4e-12, 1e-12, 2e-9), rel=1e-12)
    warm = model(chain.but(temp_c=45).values)
    assert warm.beta == pytest.approx(q.beta * (1 - 0.006 * 20), rel=1e-14)
    assert (warm.v_off, warm.leakage) == pytest.approx((-2.04, 8e-9))


# -- which stages there are -------------------------------------------------------------------------------------------
def test_stages_and_their_controls() -> None:
    stages = all_stages()
    assert [(key, stages[key].inverts) for key in stages if key in ("direct", "follower", "gain")] == [
        ("direct", False), ("follower", False), ("gain", True)
    ]  # fmt: skip
    assert stage_named("follower").controls == SHARED == controls()[: len(SHARED)]
    own = [control.key for control in controls()[len(SHARED) :]]
    assert own == sorted(own) and len(set(own)) == len(own)
    with pytest.raises(KeyError):
        stage_named("valve")


def made(key: str, *controls_: Quantity, **defaults: Any) -> type[Stage]:
    return type("Made", (Stage,), {"key": key, "title": "made here", "controls": controls_, "defaults": defaults})


@pytest.mark.parametrize(
    "stage, reason",
    [
        (made("gain"), "gain: there is a stage of that key already"),
        (made("new", Quantity("cable_m", "x", "stage", 1.0)), "new: control 'cable_m' has the key of a setting"),
        (
            made("new", Quantity("gate_r", "other", "stage", 1e6, unit="ohm", low=1.0, high=1e9)),
            "is not what others mean",
        ),
        (made("new", replace(GATE_R, default=1e6)), "is not what others mean"),
        (made("new", Quantity("new_r", "new", "stage", 5.0, unit="ohm", low=10.0, high=20.0)), "out of range"),
        (made("new", GATE_R, gate_r=1.0), "out of range"),
        (made("new", GATE_R, source_r=1e3), "new: a default for 'source_r', which is not among its controls"),
    ],
)
def test_a_stage_that_does_not_fit_is_refused(stage: type[Stage], reason: str) -> None:
    before = list(all_stages())
    with pytest.raises(ValueError, match=reason), known(stage):
        raise AssertionError("it was taken")
    assert list(all_stages()) == before and SignalChain().gate_r == 4.7e6


def test_a_part_of_unknown_kind_has_no_element() -> None:
    with pytest.raises(ValueError, match="L1: no circuit element"):
        Part("L1", "lamp", "lamp", ("a", "b"), 1.0).element()
    with pytest.raises(KeyError, match="R_9"):
        part([], "R_9")
