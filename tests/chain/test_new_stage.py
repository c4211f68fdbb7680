"""A stage that the package has never heard of: one class, listed, and everything else picks it up."""

import json
from collections.abc import Iterator

import numpy as np
import pytest
from scipy.optimize import brentq

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.link import from_link, read_link, to_query
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages import all_stages, register
from piezolab.sheets.schematic import schematic_svg, schematic_text
from piezolab.studies.bias import bias
from piezolab.studies.board.layout import layout
from piezolab.studies.choosing import tolerance
from piezolab.studies.faults.making import fault_table
from piezolab.studies.figures import figures
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import loading
from piezolab.studies.matters import effects
from piezolab.studies.output import impedances
from piezolab.studies.response import response
from tests.chain.own_stages import HOLD, Attenuator, Halves, SunkFollower, known

BEFORE = list(all_parameters())
OFFERED = list(all_stages())
NEW = (SunkFollower, Halves, Attenuator)


@pytest.fixture(autouse=True)
def registered() -> Iterator[None]:
    with known(*NEW):
        yield


def test_it_is_a_choice_and_its_controls_are_settings() -> None:
    assert list(all_parameters()["stage"].choices.items())[-3:] == [
        ("sunk", "follower over a current sink"),
        ("halves", "equal halves"),
        ("attenuator", "two resistors"),
    ]
    assert all_parameters()["stage"].allowed == f"{', '.join(OFFERED)}, sunk, halves or attenuator"
    new = [key for key in all_parameters() if key not in BEFORE]
    assert new == ["half_r", "lower_r", "sink_r", "upper_r"]  # by name, whichever stage comes first
    assert [key for key in all_parameters() if key in BEFORE] == BEFORE  # no old key has moved


def test_links_and_defaults() -> None:
    chain = from_link("stage=sunk&sink_r=1k&gate_r=4M7")
    assert (chain.sink_r, chain.gate_r, chain.out_c, chain.bleed_r) == (1e3, 4.7e6, 1e-6, 220e3)
    assert to_query(chain) == "stage=sunk&gate_r=4M7&sink_r=1k"
    assert to_query(SignalChain(stage="sunk", sink_r=220, gate_r=10e6)) == "stage=sunk"
    assert to_query(SignalChain()) == "" and to_query(from_link("stage=gain")) == "stage=gain"
    _, problems = read_link("stage=sunk&sink_r=0.5R&sinkr=1")
    assert sorted(problem.sentence for problem in problems) == [
        "link: 'sinkr' is not a key of a chain; did you mean 'sink_r'?",
        "sink resistor (sink_r): '0.5R' is out of range; allowed is 1 Ω to 100 kΩ.",
    ]


def test_what_is_not_in_the_list_is_refused_like_any_unknown_word(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(register, "STAGES", register.STAGES[: len(OFFERED)])
    assert list(all_parameters()) == BEFORE
    allowed = f"{', '.join(OFFERED[:-1])} or {OFFERED[-1]}"
    with pytest.raises(ChainError, match=f"stage: 'sunk' is not known; allowed is {allowed}"):
        SignalChain(stage="sunk")
    assert [p.key for p in read_link("stage=sunk&sink_r=1k")[1]] == ["stage", "sink_r"]


def test_operating_point_against_a_root_of_two_square_laws() -> None:
    """The sink's current from its own equation, then the follower's V_GS from that current (lambda 0)."""
    chain = SignalChain(stage="sunk", jfet_idss=6e-3, jfet_vgsoff=-2, jfet_lambda=0, jfet_ig=0, sink_r=1e3)

    def current(v_gs: float) -> float:
        return 6e-3 * max(1 + v_gs / 2, 0.0) ** 2

    sunk = brentq(lambda i: i - current(-1e3 * i), 0.0, 6e-3, xtol=1e-18)
    v_g = 4.5 * 1e9 / (1e9 + 10e6 + 250e3)  # the pickup's own leakage pulls at the divider
    v_s = brentq(lambda v: current(v_g - v) - sunk - v / HOLD, 4.5, 6.0, xtol=1e-15)
    found = bias(chain)
    sink = LinearChain.of(chain.values).point.jfets["Q2"]
    assert sink.i_d == pytest.approx(sunk, rel=1e-6) and sink.region == "saturation"
    assert found.i_d == pytest.approx(sunk + v_s / HOLD, rel=1e-6)
    assert found.v_s == pytest.approx(v_s, rel=1e-6)
    v_divider = v_g * (1e9 + 10e6) / 1e9
    assert found.supply_current == pytest.approx(found.i_d + (9 - v_divider) / 500e3, rel=1e-6)
    # twins whose gates rest alike starve the sink: (u - v)^2 = v (2u - v) for its overdrive u, so v = u (1 - 1/sqrt 2)
    starved = LinearChain.of(chain.but({"return": "ground"}).values).point.jfets["Q2"]
    assert starved.region == "triode"
    assert starved.v_ds == pytest.approx(starved.v_ds_sat * (1 - 0.5**0.5), rel=1e-3)


def test_every_figure_is_there() -> None:
    found = figures(SignalChain(stage="halves", half_r=3.3e3, jfet_idss=6e-3, jfet_vgsoff=-2))
    assert found["chain"]["half_r"] == 3.3e3 and found["chain"]["link"].startswith("stage=halves&")
    assert found["bias"]["region"] == "saturation"
    assert all(found[group] for group in ("loading", "bias", "response", "output", "noise", "hum", "levels", "battery"))
    json.dumps(found, allow_nan=False)


def test_sheets_and_other_studies_pick_it_up() -> None:
    chain = SignalChain(stage="halves", half_r=3.3e3)
    drawn, told = schematic_svg(chain), schematic_text(chain)
    for name in ("R_G", "Q1", "R_D", "R_S", "C_out", "R_bleed"):
        assert f"{name}, " in told and name in drawn
    assert "3k3" in drawn and "equal halves" in told
    placed = layout(chain)
    assert placed is not None and {"R_D", "R_S", "Q1"} <= {part.name for part in placed.parts}
    assert {effect.part for effect in effects(chain)} >= {"R_D", "R_S"}
    suspects = " ".join(map(str, fault_table(chain).hypotheses))
    assert all(name in suspects for name in ("R_D", "R_S", "C_out", "Q1"))
    assert "half_r" in tolerance.drawn(chain, 5.0, 20.0, 200, 1)[1]


def test_equal_halves_against_their_formula() -> None:
    """-g_m R/(1 + (g_m + g_ds) R + g_ds R) at the drain, and the same with + at the source, unloaded."""
    chain = SignalChain(
        stage="halves", lead_m=0, cable_m=0, input_c=0, input_r=1e9, bleed_r=1e8, out_c=1e-3, pickup_c=500e-9,
        jfet_ciss=0.1e-12, jfet_crss=0, gate_r=1e9, jfet_ig=0,
    )  # fmt: skip
    q, r = bias(chain), 2.7e3
    expected = -q.g_m * r / (1 + q.g_m * r + 2 * q.g_ds * r)
    found = response(chain, np.array([1e3]))
    assert found.gain[0] == pytest.approx(expected, rel=1e-4)
    assert abs(found.phase_deg[0] - 180) < 0.1


def test_its_control_moves_the_figures() -> None:
    quick, slow = (SignalChain(stage="sunk", sink_r=r, jfet="J113") for r in (100.0, 10e3))
    assert bias(quick).i_d > 5 * bias(slow).i_d
    assert abs(impedances(quick).output.real) < abs(impedances(slow).output.real)
    assert loading(quick) == loading(slow)  # what the bare pickup loses does not hang on the stage


def test_two_resistors_against_their_formula() -> None:
    chain = SignalChain(stage="attenuator", upper_r=2e6, lower_r=500e3, lead_m=0, cable_m=0, input_c=0, pickup_loss=0)
    f = np.geomspace(1, 1e5, 30)
    found = response(chain, f)
    foot = 1 / (1 / 500e3 + 1 / 1e6)
    load = 1 / (1 / 1e9 + 1 / (2e6 + foot))
    expected = foot / (2e6 + foot) * 1 / (1 + 1 / (2j * np.pi * f * 15e-9 * load))
    assert found.gain == pytest.approx(expected, rel=1e-9)
    assert found.midband_gain == pytest.approx(foot / (2e6 + foot), rel=1e-3)
    assert bias(chain) is None and figures(chain)["bias"] is None
    assert "B1" not in assemble(chain.values).network.nodes
    assert impedances(chain).output == pytest.approx(1 / (1 / 500e3 + 1 / (2e6 + 1 / (1e-9 + 2e3j * np.pi * 15e-9))))
