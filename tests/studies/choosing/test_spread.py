"""Spread of builds: against closed forms and analytic propagation, other routes, and what cannot be."""

import numpy as np
import pytest
from scipy.stats import binom

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.choosing.build_figures import build_figures
from piezolab.studies.choosing.spread import FREQUENCY, spread, usual_size
from piezolab.studies.choosing.tolerance import drawn
from piezolab.studies.choosing.worst_case import interval, share_that_fits
from piezolab.studies.fading_battery import battery, lives, low_corners
from piezolab.studies.judging.wish import Wish
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz, response

MEASURED = {"jfet_idss": 5e-3, "jfet_vgsoff": 1.5}
#: A follower whose supply current follows source resistor and battery alone.
PLAIN = SignalChain({**MEASURED, "supply": "adapter", "supply_v": 9.0, "supply_r": 0.0, "pickup_r": 100e9})
NO_WISH = Wish(None, None, None, None, None, None, None, None, False)


def slopes(chain: SignalChain) -> tuple[float, float]:
    """dI/dR_S and dI/dV+ of a follower at rest, from its g_m and g_ds: I = f(V_GS, V_DS), V_GS = -I R, V_DS = V+ - I R
    gives dI/dR = -I (g_m + g_ds)/(1 + R (g_m + g_ds)) and dI/dV+ = g_ds/(1 + R (g_m + g_ds))."""
    at, r = bias(chain), float(chain.values.source_r)
    both = float(at.g_m + at.g_ds)
    return -float(at.i_d) * both / (1 + r * both), float(at.g_ds) / (1 + r * both)


def test_mean_and_variance_of_a_linear_figure_are_those_of_analytic_propagation() -> None:
    found = spread(PLAIN, 1.0, 0.0, size=20_000, room_k=0.0)
    per_ohm, _ = slopes(PLAIN)
    sigma = abs(per_ohm) * float(PLAIN.values.source_r) * 0.01 / np.sqrt(3)
    current = found.figures.current_a
    assert current.mean() == pytest.approx(float(bias(PLAIN).supply_current), abs=5 * sigma / np.sqrt(len(current)))
    assert current.std() == pytest.approx(sigma, rel=0.02)  # four standard deviations of a uniform one's


def test_shares_are_those_of_the_analytic_derivatives() -> None:
    """Source resistor and battery alone move the current at rest: T_k = (df/dx_k)^2 var(x_k)/sum."""
    chain = PLAIN.but(supply="alkaline-9v")
    per_ohm, per_volt = slopes(chain.but(supply_v=7.5))
    values, inputs = drawn(chain, 0.3, 0.0, 4000, 5, battery=True)
    parts = {
        "source_r": (per_ohm * np.std(values.source_r)) ** 2, "supply_v": (per_volt * np.std(values.supply_v)) ** 2,
    }  # fmt: skip
    found = spread(
        chain, 0.3, 0.0, size=4000, room_k=0.0, wish=Wish(None, None, None, None, None, None, None, 1e-6, False)
    )
    assert found.tightest == "current_a"
    whole = sum(parts.values())
    for key, part in parts.items():
        true = part / whole
        assert 0.05 < true < 0.95, "both are felt"
        for share, low, high in (found.matters[key].first, found.matters[key].total):
            assert share == pytest.approx(true, abs=0.06)
            assert low <= share <= high and high - low < 0.2
    assert all(each.total[0] < 1e-6 for key, each in found.matters.items() if key not in parts)


def test_no_tolerance_is_one_build() -> None:
    chain = PLAIN
    found = spread(chain, 0.0, 0.0, size=100, room_k=0.0)
    alone = build_figures(chain.values, low_note_hz(chain), with_noise=False)
    np.testing.assert_allclose(found.figures.gain_db, float(alone.gain_db), rtol=1e-12)
    assert found.fits == 1.0 and found.helps is None and found.life_h is None
    assert all(each.total == (0.0, 0.0, 0.0) for each in found.matters.values())
    np.testing.assert_allclose(found.level_db, np.tile(response(chain, FREQUENCY).gain_db, (3, 1)), atol=1e-9)


def test_the_gate_resistor_makes_the_corner() -> None:
    """A small pickup into a stage: the low string's loss is 10 lg(1 + (f_c/f)^2), f_c = 1/(2 pi R C)."""
    chain = SignalChain({**MEASURED, "pickup_c": 1e-9, "gate_r": 1e6, "pickup_r": 100e9, "pickup_loss": 0.0,
                         "lead_m": 0.0, "tuning": "A2", "jfet_ciss": 0.2e-12, "jfet_crss": 0.0,
                         "out_c": 100e-6})  # fmt: skip
    wish = Wish(headroom_db=None, gain_db=None, step_v=None, settle_s=None, dc_v=None)
    found = spread(chain, 10.0, 10.0, wish, size=4000, room_k=0.0)
    values = [drawn(chain, 10.0, 10.0, 2000, seed, battery=True)[0] for seed in (1904, 1905)]
    corner = np.concatenate([1 / (2 * np.pi * each.gate_r * 1e-9) for each in values])
    loss = -10 * np.log10(1 + (corner / 110.0) ** 2)
    np.testing.assert_allclose(found.figures.low_note_db, loss, atol=0.05)
    np.testing.assert_allclose(found.corner_hz, corner, rtol=0.01)
    assert next(iter(found.matters)) == "gate_r" and found.matters["gate_r"].first[0] > 0.9
    share = float(np.mean(loss >= -1.0))
    assert found.fits_each["low_note_db"] == pytest.approx(share, abs=0.01)
    # the next larger gate resistor of E6 helps, and nothing else can
    assert found.helps is not None and found.helps.key == "gate_r" and found.helps.value > 1e6
    assert found.helps.after > found.helps.before == round(found.fits * found.size)
    assert found.helps.after == round(spread(chain.but(gate_r=found.helps.value), 10.0, 10.0, wish, 4000,
                                             room_k=0.0).fits * 4000)  # fmt: skip


def test_life_and_corner_of_many_builds_are_those_of_each_alone() -> None:
    for chain in (SignalChain(play_v=1.0), SignalChain(stage="gain", play_v=0.01), SignalChain({"return": "divider"})):
        values, inputs = drawn(chain, 5.0, 20.0, 5, 1)
        life, corner = lives(chain, values, 5), low_corners(LinearChain.of(values))
        for n in range(5):
            one = {key: float(values[key][n]) for keys in inputs.values() for key in keys}
            alone = chain.but(**one, jfet_vds=float(np.squeeze(values.jfet_vds)))
            found = battery(alone)
            assert life[n] == pytest.approx(found.life_h, rel=2e-3, abs=0.02 * max(found.hours["end voltage"], 1.0))
            assert corner[n] == pytest.approx(response(alone).low_corner_hz, rel=0.01)
    assert lives(SignalChain(supply="adapter"), values, 5) is None


def test_the_share_is_that_of_the_search_and_has_its_interval() -> None:
    for chain in (SignalChain(), SignalChain(stage="gain", play_v=0.02)):
        found, other = spread(chain), share_that_fits(chain, Wish(), (5.0, 20.0))
        assert other.low <= found.fits <= other.high
        assert found.low <= found.fits <= found.high and 0.03 < found.high - found.low < 0.06
        # a follower's room is the transistor's own; a gain stage of this bag wants another drain resistor
        assert (found.helps is None) == (chain.stage == "follower")


@pytest.mark.parametrize("share", [0.3, 0.5625, 0.9])
def test_the_interval_of_a_share_holds_it_as_often_as_it_says(share: float) -> None:
    """Exactly, by the binomial law of the count: at least 95 %, and hardly more for so many builds."""
    count = np.arange(2001)
    inside = [low <= share <= high for low, high in (interval(int(k), 2000, 0.025) for k in count)]
    assert 0.95 <= float(binom.pmf(count, 2000, share)[inside].sum()) <= 0.97


def test_more_is_never_wished_by_fewer() -> None:
    chain = SignalChain(stage="gain", play_v=0.01)
    shares = [spread(chain, wish=Wish(gain_db=gain), size=300).fits for gain in (10.0, 26.0)]
    assert shares == sorted(shares, reverse=True)
    strict = spread(chain, wish=Wish(gain_db=20.0), size=300)
    assert strict.fits <= min(strict.fits_each.values())
    assert strict.tightest == min(strict.fits_each, key=strict.fits_each.get)
    assert spread(chain, wish=NO_WISH, size=300).fits == 1.0


def test_bands_hold_the_middle_and_the_same_seed_gives_the_same_answer() -> None:
    from piezolab.studies.kept import forget

    one = spread(SignalChain(stage="gain"), size=300)
    forget()
    two = spread(SignalChain(stage="gain"), size=300)
    assert one.fits == two.fits and one.matters == two.matters and one.helps == two.helps
    np.testing.assert_array_equal(one.level_db, two.level_db)
    assert np.all(np.diff(one.level_db, axis=0) >= 0) and one.level_db.shape == (3, len(FREQUENCY))
    other = spread(SignalChain(stage="gain"), size=300, seed=7)
    assert np.any(other.level_db != one.level_db)


def test_with_no_stage_only_the_room_is_felt() -> None:
    found = spread(SignalChain(stage="direct"), size=100)
    assert set(found.matters) == {"temp_c"} and found.life_h is None and found.helps is None


def test_a_stage_of_two_transistors_spreads_too() -> None:
    chain = SignalChain(stage="steady", play_v=0.05)
    found = spread(chain, size=100, wish=NO_WISH)
    assert np.isfinite(found.life_h).all() and np.isfinite(found.level_db).all()
    assert usual_size(chain) < usual_size(SignalChain())


def test_bounds() -> None:
    for changes, words in (
        ({"resistor_percent": 60.0}, "resistor tolerance: 60.0 % is out of range; allowed is 0 to 50 %"),
        ({"size": 10**6}, "builds: 1000000 is out of range; allowed is an even number from 100 to 50000"),
        ({"size": 101}, "builds"), ({"room_k": 50.0}, "room: 50 K is out of range; allowed is 0 to 40 K"),
    ):
        with pytest.raises(ValueError, match=words):
            spread(SignalChain(), **changes)
