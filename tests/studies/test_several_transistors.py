"""Edges of stages with two transistors against the load line that has the gates' own currents."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.choosing.tolerance import drawn
from piezolab.studies.linear import LinearChain
from piezolab.studies.several_transistors import CAUSES, CUT_OFF_PART, GATE_A, edges_of_several
from tests.chain.strategies import random_chain

#: Of the edge: a gate takes a little before it takes GATE_A, and what drives it gives way by that.
NEAR = 0.01


def first_on_the_whole_line(linear: LinearChain, sign: float, up_to: float) -> tuple[float, str, str]:
    """The first edge on one side by many small steps along the load line, its transistor and its cause."""
    e = sign * up_to * np.linspace(0.0, 1.1, 2201)
    points, _ = linear.load_line.at(e)
    first = (np.inf, "", "")
    for name in linear.assembly.transistors:
        q, model = points[name], linear.assembly.network[name].model
        begun = (
            q.i_channel < CUT_OFF_PART * linear.point.jfets[name].i_channel,
            q.v_ds < q.v_ds_sat,
            np.maximum(q.v_gs, q.v_gs - q.v_ds) > model.thermal_voltage * np.log1p(GATE_A / model.saturation_current),
        )
        for cause, there in zip(CAUSES, begun, strict=True):
            if there.any():
                first = min(first, (float(np.abs(e[np.argmax(there)])), name, cause))
    return first


@pytest.mark.parametrize("stage", ["steady", "driven"])
def test_nearest_edges_of_random_chains(stage: str) -> None:
    rng, seen = np.random.default_rng(1904), 0
    while seen < 8:
        chain = random_chain(rng, stage=stage, clamp="none")
        linear = LinearChain.of(chain.values)
        if not linear.works:
            continue
        edges = edges_of_several(linear)
        for side, sign in (("rising", 1.0), ("falling", -1.0)):
            nearest = min(edges, key=lambda edge: float(getattr(edge, side)))
            at = float(getattr(nearest, side))
            if not 1e-3 < at < 100.0:
                continue
            seen += 1
            found = first_on_the_whole_line(linear, sign, at)
            assert found[0] == pytest.approx(at, rel=NEAR), (chain, side, nearest, found)
            close = [edge for edge in edges if float(getattr(edge, side)) < (1 + NEAR) * at]
            assert found[1:] in [(edge.transistor, edge.cause) for edge in close]


@pytest.mark.parametrize("stage", ["steady", "driven"])
def test_a_spread_of_builds_gives_what_each_gives_alone(stage: str) -> None:
    chain = SignalChain(stage=stage)
    values, _ = drawn(chain, 5.0, 20.0, 30, 7, room_k=15.0, battery=True)
    many = edges_of_several(LinearChain.of(values))
    each = {key: value for key, value in values.as_dict().items() if isinstance(value, np.ndarray)}
    for k in (0, 7, 29):
        alone = edges_of_several(LinearChain.of(values.but(**{key: value[[k]] for key, value in each.items()})))
        for one, other in zip(alone, many, strict=True):
            for side in ("rising", "falling"):
                assert getattr(one, side)[0] == pytest.approx(getattr(other, side)[k], rel=1e-7)
