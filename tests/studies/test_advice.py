"""Advice: every computed step, applied, changes the figure by what it claims; no text touches mains wiring."""

import re

import pytest

from piezolab.catalogue.advice_texts import advice_texts, read_row
from piezolab.catalogue.schema import CatalogueError
from piezolab.chain import SignalChain
from piezolab.studies.advice import hiss_advice, hum_advice
from piezolab.studies.hiss import noise
from piezolab.studies.hum import hum

CHAINS = [
    SignalChain(),
    SignalChain(stage="direct", loop_v=5e-3),
    SignalChain(stage="gain", bypass_part=0.5, supply="adapter", loop_v=1e-3),
    SignalChain(supply="adapter", ripple_v=0.3, divider_c=0.0, **{"return": "divider"}),
    SignalChain(stage="gain", jfet_idss=3e-3, jfet_vgsoff=1.2, supply="adapter", ripple_v=1.0),
]


@pytest.mark.parametrize("chain", CHAINS, ids=str)
def test_a_computed_step_does_what_it_claims(chain: SignalChain) -> None:
    applied = 0
    for step in hum_advice(chain).steps:
        if step.computed:
            now, then = hum(chain).relative_db, hum(chain.but(step.changes)).relative_db
            assert step.less_db == pytest.approx((now - then,) * 2, abs=1e-9)
            applied += 1
    for step in hiss_advice(chain).steps:
        now, then = (float(noise(c).snr_db_a) for c in (chain, chain.but(step.changes)))
        assert step.less_db == pytest.approx((then - now,) * 2, abs=1e-9)
        applied += 1
    assert applied, "every chain has something to compute"


@pytest.mark.parametrize("chain", CHAINS, ids=str)
def test_assumed_steps_act_on_their_way_in_only(chain: SignalChain) -> None:
    """A shield of x dB is the chain with that shield; nothing assumed brings more than its way's whole share."""
    found = hum_advice(chain)
    for step in found.steps:
        if not step.computed:
            low, high = advice_texts()[step.name].range_db
            assert 0 <= step.less_db[0] <= step.less_db[1] <= high + 1e-6
            if step.against == "room":
                shielded = hum(chain.but(shield_db=low)).relative_db
                assert step.less_db[0] == pytest.approx(hum(chain).relative_db - shielded, abs=0.01)
    assert sum(found.culprits.values()) == pytest.approx(1)


def test_the_biggest_culprit_comes_first_with_its_cure() -> None:
    loop = hum_advice(SignalChain(loop_v=0.1))
    assert next(iter(loop.culprits)) == "loop"
    assert loop.steps[0].against == "loop"
    room = hum_advice(SignalChain())
    assert next(iter(room.culprits)) == "room" and room.steps[0].name == "foil"
    cord = hum_advice(SignalChain(stage="direct", cable_hum_c=5e-12))
    assert next(iter(cord.culprits)) == "cord" and cord.steps[0].name == "stage-at-the-instrument"
    ripple = hum_advice(SignalChain(stage="gain", supply="adapter", ripple_v=1.0, hum_c=0.0))
    assert ripple.steps[0].name == "battery"


FORBIDDEN = re.compile(
    r"(remove|lift|cut|disconnect|bypass|defeat|open|rewire|tape over)\b[^.]*\b(earth|mains|plug|appliance|wall)", re.I
)


def texts() -> list[str]:
    return [words for row in advice_texts().values() for words in (row.title, row.text, row.caution)]


def test_no_advice_touches_mains_wiring() -> None:
    for text in texts():
        assert not FORBIDDEN.search(text), text
        if "earth" in text.lower():
            assert "leave every earth contact as it is" in text.lower(), text
    assert FORBIDDEN.search("Lift the earth of the amplifier."), "the check must be able to fail"
    assert FORBIDDEN.search("Open the mains plug and cut a wire.")


def test_grounding_strings_carries_its_caution() -> None:
    caution = advice_texts()["strings-to-ground"].caution
    assert "residual-current device" in caution and "licensed" in caution


def test_what_is_assumed_says_so() -> None:
    for row in advice_texts().values():
        assert (row.range_db is None) == (row.source == "computed for this chain"), row.name
        assert row.range_db is None or row.source == "common practice, no source"


@pytest.mark.parametrize(
    ("table", "field"),
    [
        ({"against": "room", "title": "x", "text": "y"}, "source"),
        ({"against": "wind", "title": "x", "text": "y", "source": "z"}, "against"),
        ({"against": "room", "title": "x", "text": "y", "source": "z", "range_db": [9, 3]}, "range_db"),
        ({"against": "room", "title": "x", "text": "y", "source": "z", "more": 1}, "more"),
    ],
)
def test_a_faulty_row_is_named(table: dict[str, object], field: str) -> None:
    with pytest.raises(CatalogueError, match=f"row one.*{field}"):
        read_row("one", table)
