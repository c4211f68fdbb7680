"""What protects a gate: every bar that the study promises is measured again on the chain that it proposes."""

import os

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.hiss import noise
from piezolab.studies.knock import knock
from piezolab.studies.levels import levels
from piezolab.studies.protection import BARS, protection
from piezolab.studies.response import response

MANY = 500 if os.environ.get("PIEZOLAB_LONG") else 1


def chains(count: int) -> list[SignalChain]:
    """Stages that work at rest, pickups of 1 nF and more, gate resistors up to 22 megohm."""
    rng, found = np.random.default_rng(5), []
    while len(found) < count:
        chain = SignalChain({
            "stage": str(rng.choice(["follower", "gain"])), "return": str(rng.choice(["ground", "divider"])),
            "pickup_c": 1e-9 * 50 ** rng.random(), "gate_r": 1e6 * 22 ** rng.random(),
            "play_v": 0.1 * 20 ** rng.random(), "jfet": str(rng.choice(["J113", "2N5457", "2N3819"])),
        })  # fmt: skip
        if protection_wanted(chain):
            found.append(chain)
    return found


def protection_wanted(chain: SignalChain) -> bool:
    """Whether it works at rest and does not clip there."""
    return bool(bias(chain).works) and float(levels(chain).clip_input_v_peak) > 0


def test_what_is_proposed_keeps_every_bar_and_the_rest_is_named() -> None:
    enough, asked = 0, 0
    for chain in chains(MANY):
        found = protection(chain)
        if not found.needed:
            continue
        asked += 1
        if found.enough is None:
            assert found.best.misses and set(found.best.misses) <= set(BARS)
            continue
        enough += 1
        after = chain.but(found.enough.changes)
        hit = knock(after)
        assert hit.gate_source_v.max() <= hit.may_v and hit.gate_drain_v.max() <= hit.may_drain_v
        assert hit.clamp_a <= hit.clamp_may_a
        before, edge = (float(levels(each).clip_input_v_peak) for each in (chain, after))
        assert edge >= min(1.25 * chain.play_v, 0.999 * before)
        for temp_c, most in ((25.0, 0.1), (40.0, 0.5)):
            was, now = (response(each.but(temp_c=temp_c)).low_note_gain for each in (chain, after))
            assert 20 * np.log10(was / now) < most
        assert noise(chain).snr_db_a - noise(after).snr_db_a < 0.5
    assert asked and enough >= 0.9 * asked


def test_an_ordinary_diode_costs_bass_as_its_resistance_at_rest_says() -> None:
    """Two of them beside 4M7, 2.5 nA and 46.2 mV each: below the corner the level falls as the resistance does."""
    for temp_c in (25.0, 60.0):
        warmer = 2 ** ((temp_c - 25) / 10)
        each = 0.0462 * (temp_c + 273.15) / 298.15 / (2.5e-9 * warmer)
        plain = SignalChain(temp_c=temp_c, gate_r=4.7e6, pickup_r=1e11, jfet_ig=0.0)
        low = np.array([0.05])
        was, now = (np.abs(response(c, low).gain[0]) for c in (
            plain, plain.but(clamp="pair", clamp_part="switching-diode")))  # fmt: skip
        assert was / now == pytest.approx(1 + 4.7e6 / (each / 2), rel=0.03)


def test_nothing_is_proposed_where_there_is_no_gate_or_a_clamp_already() -> None:
    assert protection(SignalChain(stage="direct")) is None
    there = protection(SignalChain(clamp="pair"))
    assert there.present and there.enough is None and not there.needed
