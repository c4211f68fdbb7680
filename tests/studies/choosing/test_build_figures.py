"""Figures of builds in batches against the studies of single chains."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.choosing.build_figures import build_figures, whole_figures
from piezolab.studies.hiss import noise
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import Wish, judged_figures, margins, missed, standing
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz, response
from piezolab.studies.swing import swing

CHAINS = {
    "default": {},
    "gain": {"stage": "gain", "play_v": 0.1},
    "direct": {"stage": "direct", "pickup_c": 2e-9},
    "thin": {"pickup_c": 1e-9, "gate_r": 470e3, "pad": (10e3, 10e3)},
    "triode": {"stage": "gain", "jfet": "2N3819"},
}


@pytest.mark.parametrize("name", CHAINS)
def test_one_build_is_the_chain(name) -> None:
    chain = SignalChain(CHAINS[name])
    found = build_figures(chain.values, low_note_hz(chain))
    whole, quiet = response(chain), noise(chain)
    assert found.gain_db == pytest.approx(20 * np.log10(whole.gain_1khz), abs=1e-9)
    # with no stage a chain's mid-band is by definition the full level, which no frequency quite reaches
    assert found.low_note_db == pytest.approx(whole.low_note_re_midband_db, abs=0.02)
    assert found.snr_db_a == pytest.approx(float(quiet.snr_db_a), abs=0.02)
    ceiling = chain.values.input_max / whole.gain_1khz
    if not chain.topology.powered:
        assert (found.current_a, found.works) == (0.0, True)
        assert found.headroom_db == pytest.approx(20 * np.log10(ceiling / chain.play_v))
        return
    edge = min(float(swing(LinearChain.of(chain.values)).headroom), ceiling)
    assert found.headroom_db == pytest.approx(20 * np.log10(edge / chain.play_v) if edge else -np.inf)
    assert found.current_a == pytest.approx(float(bias(chain).supply_current))
    points = [bias(chain.but(supply_v=v)) for v in (9.4, 9.0, 6.0)]
    assert found.works == all(p.region == "saturation" and p.gate == "ok" for p in points)


def test_a_batch_is_its_members() -> None:
    chain = SignalChain(stage="gain", play_v=0.1)
    gate_r, source_r = np.array([100e3, 1e6, 10e6]), np.array([560.0, 1.5e3, 4.7e3])
    many = build_figures(chain.values.but(gate_r=gate_r, source_r=source_r), 82.4)
    for k in range(3):
        one = build_figures(chain.but(gate_r=float(gate_r[k]), source_r=float(source_r[k])).values, 82.4)
        for name in vars(one):
            assert getattr(many, name)[k] == pytest.approx(getattr(one, name).item(), rel=1e-9, nan_ok=True)


def test_margins() -> None:
    chain = SignalChain()
    figures = build_figures(chain.values, 82.4)
    wishes = Wish(low_note_db=0.5, headroom_db=6.0, gain_db=-1.0, snr_db_a=80.0, current_a=1e-3)
    found = margins(figures, wishes)
    assert found["works"] == np.inf
    assert found["low_note_db"] == pytest.approx(0.5 + float(figures.low_note_db))
    assert found["headroom_db"] == pytest.approx(float(figures.headroom_db) - 6.0)
    assert found["current_a"] == pytest.approx(20 * np.log10(1e-3 / float(figures.current_a)))
    assert set(found) == set(vars(figures)) - {"life_h", "parts", "cost"}, "what was not asked for"
    assert found["step_v"] == pytest.approx(20 * np.log10(0.1 / float(figures.step_v)))
    assert margins(figures, Wish(*[None] * 8, works=False)) == {}


@pytest.mark.parametrize("name", CHAINS)
def test_whole_figures_of_a_batch_are_those_of_the_judgement(name) -> None:
    chain = SignalChain(CHAINS[name])
    cable = np.array([1.0, 6.0])
    many = whole_figures(chain.values.but(cable_m=cable), low_note_hz(chain))
    for k in range(2):
        judged = judged_figures(judgement(chain.but(cable_m=float(cable[k]))), with_noise=True)
        for figure, value in vars(judged).items():
            assert getattr(many, figure)[k] == pytest.approx(value.item(), rel=1e-6, abs=1e-6, nan_ok=True), figure


def test_a_miss_is_counted_first_and_enough_is_enough() -> None:
    """By hand: 1 wish missed by 2.1 dB is 4 half decibels; 9 dB of room count as 6, and bass to spare as nothing."""
    each = {"headroom_db": np.array([9.0, -2.1]), "low_note_db": np.array([0.9, 0.2]), "gain_db": np.array([1.0, 2.0])}
    fails, miss, spare = standing(each, (2,))
    assert list(fails) == [0, 1] and list(miss) == [0, 4] and list(spare) == pytest.approx([-7.0, 0.1])
    idle = standing({**each, "works": np.array([-np.inf, np.inf])}, (2,))
    assert list(idle[0]) == [4, 1]
    assert missed(judged_figures(judgement(SignalChain(play_v=30.0))), Wish(gain_db=1.0)) == ("headroom_db", "gain_db")
