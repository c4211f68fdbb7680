"""Spread of builds: against closed forms, another library, and what cannot be."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import spearmanr

from piezolab.chain import SignalChain
from piezolab.studies.choosing.build_figures import build_figures
from piezolab.studies.choosing.tolerance import drawn, influences, level_band, tolerance
from piezolab.studies.judging.wish import Wish
from piezolab.studies.loading import loading
from piezolab.studies.response import low_note_hz, response

MEASURED = {"jfet_idss": 5e-3, "jfet_vgsoff": 1.5}


def test_every_build_lies_within_its_tolerance() -> None:
    chain = SignalChain({**MEASURED, "stage": "gain", "return": "divider"})
    values, draws = drawn(chain, 5.0, 20.0, 5000, seed=1)
    assert set(draws) == {"gate_r", "divider_r", "return_part", "divider_c", "drain_r", "source_r", "bypass_c", "out_c",
                          "bleed_r", "supply_c"}  # fmt: skip
    for key, part in (("gate_r", 0.05), ("source_r", 0.05), ("out_c", 0.2), ("bypass_c", 0.2)):
        ratio = np.asarray(values[key]) / chain[key]
        assert np.all(np.abs(ratio - 1) <= part + 1e-12)
        assert ratio.std() == pytest.approx(part / np.sqrt(3), rel=0.03)
    upper, lower = (1 - values.return_part) * values.divider_r, values.return_part * values.divider_r
    for r in (upper, lower):
        assert np.all(np.abs(r / 1e6 - 1) <= 0.05 + 1e-12)
    assert abs(np.corrcoef(upper, lower)[0, 1]) < 0.05


def test_a_tapped_source_resistor_is_two_resistors() -> None:
    chain = SignalChain({**MEASURED, "return": "tap", "return_part": 0.3, "source_r": 10e3})
    values, _ = drawn(chain, 10.0, 0.0, 2000, seed=1)
    assert np.all(np.abs(values.return_part * values.source_r / 3e3 - 1) <= 0.1 + 1e-12)
    assert np.all(np.abs((1 - values.return_part) * values.source_r / 7e3 - 1) <= 0.1 + 1e-12)


def test_no_tolerance_is_one_build() -> None:
    chain = SignalChain(MEASURED)
    found = tolerance(chain, 0.0, 0.0, size=100)
    alone = build_figures(chain.values, low_note_hz(chain), with_noise=False)
    np.testing.assert_allclose(found.figures.gain_db, float(alone.gain_db), rtol=1e-12)
    assert found.fits == 1.0 and all(value == 0.0 for value in found.matters.values())


def test_transistor_is_drawn_unless_measured() -> None:
    assert "jfet" in drawn(SignalChain(), 5.0, 20.0, 200, seed=1)[1]
    assert "jfet" not in drawn(SignalChain(MEASURED), 5.0, 20.0, 200, seed=1)[1]
    assert drawn(SignalChain(stage="direct"), 5.0, 20.0, 200, seed=1)[1] == {}
    assert tolerance(SignalChain(stage="direct"), size=100).matters == {}


def test_the_gate_resistor_makes_the_corner() -> None:
    """A small pickup into a stage: the low string's loss is 10 lg(1 + (f_c/f)^2), f_c = 1/(2 pi R C)."""
    chain = SignalChain({**MEASURED, "pickup_c": 1e-9, "gate_r": 1e6, "pickup_r": 100e9, "pickup_loss": 0.0,
                         "lead_m": 0.0, "tuning": "A2", "jfet_ciss": 0.2e-12, "jfet_crss": 0.0,
                         "out_c": 100e-6})  # fmt: skip
    found = tolerance(chain, 10.0, 10.0, size=4000)
    values, _ = drawn(chain, 10.0, 10.0, 4000, seed=1904)
    corner = 1 / (2 * np.pi * values.gate_r * 1e-9)
    loss = -10 * np.log10(1 + (corner / 110.0) ** 2)
    np.testing.assert_allclose(found.figures.low_note_db, loss, atol=0.05)
    assert next(iter(found.influence["low_note_db"])) == "gate_r"
    assert found.influence["low_note_db"]["gate_r"] > 0.98
    assert found.fits_each["low_note_db"] == pytest.approx(float(np.mean(loss >= -1.0)), abs=0.01)


def test_influence_ranks_as_a_rank_correlation_does() -> None:
    chain = SignalChain({**MEASURED, "stage": "gain", "play_v": 0.1})
    found = tolerance(chain, 5.0, 20.0, size=4000)
    _, draws = drawn(chain, 5.0, 20.0, 4000, seed=1904)
    for name in ("gain_db", "low_note_db", "current_a"):
        squared = {key: spearmanr(draw, getattr(found.figures, name))[0] ** 2 for key, draw in draws.items()}
        mine = found.influence[name]
        for key, value in squared.items():
            assert mine[key] == pytest.approx(value, abs=0.06)
        assert max(squared, key=squared.get) == next(iter(mine))


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_influence_of_a_sum_is_its_share_of_the_variance(seed, a, b) -> None:
    """Closed form: figure = X + a Y + b Z with X, Y, Z independent and of one variance."""
    rng = np.random.default_rng(seed)
    draws = {name: rng.uniform(-1, 1, 5000) for name in "XYZ"}
    figure = draws["X"] + a * draws["Y"] + b * draws["Z"]
    found = influences(draws, figure)
    whole = 1 + a**2 + b**2
    for name, part in (("X", 1.0), ("Y", a**2), ("Z", b**2)):
        assert found[name] == pytest.approx(part / whole, abs=0.05)
    assert list(found.values()) == sorted(found.values(), reverse=True)


def test_what_does_not_matter_gets_nothing() -> None:
    rng = np.random.default_rng(3)
    draws = {"idle": rng.uniform(size=10_000), "pair": rng.uniform(size=(10_000, 2))}
    assert influences(draws, rng.normal(size=10_000))["idle"] < 0.01
    assert influences(draws, rng.normal(size=10_000))["pair"] < 0.02
    assert influences(draws, np.full(10_000, 3.0)) == {"idle": 0.0, "pair": 0.0}
    both = draws["pair"][:, 0] * draws["pair"][:, 1]  # all of it is the pair's
    assert influences(draws, both)["pair"] > 0.95


def test_more_is_never_wished_by_fewer() -> None:
    chain = SignalChain(stage="gain", play_v=0.1)
    shares = [tolerance(chain, size=2000, wish=Wish(gain_db=gain)).fits for gain in (10.0, 15.0, 20.0, 26.0)]
    assert shares == sorted(shares, reverse=True)
    strict = tolerance(chain, size=2000, wish=Wish(gain_db=20.0))
    assert strict.fits <= min(strict.fits_each.values())
    assert strict.tightest == min(strict.fits_each, key=strict.fits_each.get)


def test_ten_thousand_builds_of_the_same_seed_are_the_same() -> None:
    one, two = (tolerance(SignalChain(), size=10_000) for _ in range(2))
    assert one.fits == two.fits and one.matters == two.matters
    assert one.figures.gain_db.shape == (10_000,)
    assert np.isnan(one.figures.snr_db_a).all() and "snr_db_a" not in one.influence


def test_bounds() -> None:
    for changes, words in (
        ({"resistor_percent": 60.0}, "resistor tolerance: 60.0 % is out of range; allowed is 0 to 50 %"),
        ({"capacitor_percent": -1.0}, "capacitor tolerance"),
        ({"size": 10**6}, "builds: 1000000 is out of range; allowed is 100 to 50000"),
        ({"size": 10}, "builds"),
    ):
        with pytest.raises(ValueError, match=words):
            tolerance(SignalChain(), **changes)
    assert loading(SignalChain()).low_note_hz == low_note_hz(SignalChain())


def test_the_band_is_that_of_builds_asked_one_by_one() -> None:
    chain = SignalChain({"stage": "gain", "jfet": "2N5457", "pickup_c": 2e-9})
    frequency = np.array([30.0, 150.0, 1000.0, 15000.0])
    band = level_band(chain, frequency, size=100, seed=7)
    values, _ = drawn(chain, 5.0, 20.0, 100, seed=7)
    keys = [key for key in ("gate_r", "drain_r", "source_r", "bypass_c", "out_c", "bleed_r", "supply_c")
            if np.ndim(values[key])]  # fmt: skip
    each = []
    for n in range(100):
        one = {key: float(values[key][n]) for key in keys}
        one |= {"jfet_idss": float(values.jfet_idss[n]), "jfet_vgsoff": -float(values.jfet_vgsoff[n])}
        one["jfet_vds"] = float(np.squeeze(values.jfet_vds))
        each.append(response(chain.but(**one), frequency).gain_db)
    low, high = np.sort(each, axis=0)[[1, -2]]  # of a hundred the second from each end lies within the percentiles
    assert np.all(band[0] <= low + 0.02) and np.all(band[1] >= high - 0.02)
    assert np.all(band[0] >= np.min(each, axis=0) - 0.02) and np.all(band[1] <= np.max(each, axis=0) + 0.02)


def test_the_band_narrows_to_the_curve_of_a_measured_part() -> None:
    chain = SignalChain({**MEASURED, "pickup_c": 2e-9})
    frequency = np.geomspace(20.0, 20e3, 40)
    band, level = level_band(chain, frequency), response(chain, frequency).gain_db
    assert np.all(band[0] <= level + 0.01) and np.all(band[1] >= level - 0.01)
    assert np.all(band[1] - band[0] < 1.0)  # a follower hardly feels its resistors
