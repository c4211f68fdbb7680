"""A stage more, anywhere in the list and with whatever defaults, leaves every link that is in the world as it was."""

import gzip
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from piezolab.chain import parameters
from piezolab.chain.link import from_link, read_link, to_query
from piezolab.chain.parameter import Quantity
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages import Stage, all_stages, controls, register
from piezolab.chain.stages.shared_controls import SHARED
from tests.chain.own_stages import known
from tests.chain.strategies import values_of

RECORDED = json.loads(gzip.decompress((Path(__file__).parents[1] / "studies/recorded_figures.json.gz").read_bytes()))
# and the same links as a bare pickup's, for which no stage has a say in the defaults
LINKS = [row["query"] for row in RECORDED["rows"]]
LINKS += [to_query(read_link(link)[0].but(stage="direct")) for link in LINKS]
PLACES = range(len(register.STAGES) + 1)


def meaning(link: str) -> tuple[str, dict[str, Any]]:
    """The canonical text of a link, and every value that its chain has."""
    chain = from_link(link)
    return to_query(chain), chain.values.as_dict()


MEANT = dict(zip(LINKS, map(meaning, LINKS), strict=True))


def bent(links: list[str], meant: dict[str, tuple[str, dict[str, Any]]]) -> list[str]:
    """The links that no longer mean what they meant; a value that there was not does not count."""
    found = []
    for link in links:
        text, values = meaning(link)
        if (text, {key: values[key] for key in meant[link][1]}) != meant[link]:
            found.append(link)
    return found


def made(key: str, *controls_: Any, **defaults: Any) -> type[Stage]:
    return type("Made", (Stage,), {"key": key, "title": "made here", "controls": controls_, "defaults": defaults})


OWN = [
    Quantity(key, f"own {key}", "stage", 1e3, "Own.", unit="ohm", low=1.0, high=1e6) for key in ("aa_r", "m_r", "z_r")
]
CONTRARY = made(
    "contrary", *SHARED[::-1], *OWN, gate_r=1e6, source_r=10e3, drain_r=2.2e3, gate_stop=1e3, divider_r=1e6,
    divider_c=0.0, bypass_c=1e-6, bypass_part=0.5, return_part=0.4, out_c=1e-6, bleed_r=1e6, **{"return": "tap"},
)  # fmt: skip


@pytest.mark.parametrize("at", PLACES)
def test_every_recorded_link_with_a_stage_that_has_other_defaults_throughout(at: int) -> None:
    assert {control.key for control in SHARED} == set(CONTRARY.defaults)
    with known(CONTRARY, at=at):
        assert list(all_stages())[at] == "contrary"
        assert bent(LINKS, MEANT) == []
        assert from_link("stage=contrary").values.gate_r == 1e6


@st.composite
def stages(draw: st.DrawFn) -> type[Stage]:
    """Some of the shared controls and of others, in any order, with any defaults."""
    chosen = draw(st.lists(st.sampled_from([*SHARED, *OWN]), unique_by=lambda control: control.key))
    return made(
        "drawn", *chosen, **{control.key: draw(values_of(control)) for control in chosen if draw(st.booleans())}
    )


@given(stages(), st.sampled_from(PLACES), st.lists(st.sampled_from(LINKS), min_size=20, max_size=20))
@example(CONTRARY, 0, LINKS[:20])
@settings(max_examples=30)
def test_any_stage_anywhere(stage: type[Stage], at: int, links: list[str]) -> None:
    with known(stage, at=at):
        assert bent(links, MEANT) == []


@pytest.mark.parametrize("at", PLACES)
def test_a_stage_that_borrows_a_control_leaves_its_first_owner_alone(at: int) -> None:
    owner = made("owner", OWN[1], OWN[0], SHARED[5])
    borrower = made("borrower", OWN[2], OWN[0], SHARED[0], aa_r=5e3, gate_r=1e6)
    links = ["stage=owner", "stage=owner&aa_r=5k", "stage=direct&m_r=3k&aa_r=2k", "stage=owner&aa_r=2k&m_r=3k"]
    with known(owner):
        meant = {link: meaning(link) for link in links}
        order = list(all_parameters())
        with known(borrower, at=at):
            assert bent(links, meant) == []
            assert [key for key in all_parameters() if key in order] == order
            assert from_link("stage=borrower").aa_r == 5e3


def test_a_default_that_spreads_or_a_key_that_moves_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """As it was once: the controls in the order of the stages, each with the default of the first that has it."""
    with known(CONTRARY, at=0):
        found: dict[str, Any] = {}
        for stage in register.STAGES:
            for control in stage.controls:
                found.setdefault(control.key, control)
        wrong = tuple(found.values())
        assert {control.key for control in wrong} == {control.key for control in controls()}
        monkeypatch.setattr(parameters, "controls", lambda: wrong)
        monkeypatch.setattr(parameters, "_table", parameters._table.__wrapped__)  # what it remembers was right
        assert len(bent(LINKS[:500], MEANT)) > 100
