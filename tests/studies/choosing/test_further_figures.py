"""Limits of battery life, pieces and cost: the judgement and the search count alike, and as others count."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.choosing.bench import Bench
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.offers import search
from piezolab.studies.choosing.one_build import as_chain
from piezolab.studies.choosing.parts_search import pools
from piezolab.studies.choosing.spread import spread
from piezolab.studies.fading_battery import battery
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.outlay import PiecePrices, outlay
from piezolab.studies.judging.wish import Wish, judged_figures, margins, missed
from piezolab.studies.shopping import shopping

PART = DrawerTransistor("2N3819", 5e-3, -2.0, name="7")
DRAWER = Drawer((2.2e3, 6.8e3, 22e3, 1e6, 4.7e6), (1e-7, 1e-5), (PART,))
PRICES = PiecePrices(0.05, 0.30, 0.20, 0.90)
THIN = SignalChain(pickup_c=0.5e-9)


@pytest.mark.parametrize(
    "changes", [{}, {"stage": "gain"}, {"return": "divider"}, {"return": "tap"}, {"stage": "direct"}]
)
def test_pieces_and_cost_are_those_of_the_shopping_list(changes) -> None:
    """Another route: what is bought for the board, without the supply's parts."""
    chain = SignalChain(changes)
    items = [item for item in shopping(chain) if item.name not in ("C_sup", "R_sup")]
    parts, cost = outlay(chain, PRICES)
    assert parts == len(items)
    assert cost == pytest.approx(sum(getattr(PRICES, item.kind) for item in items))


def test_the_demonstration_has_its_prices() -> None:
    assert PiecePrices.demonstration() == PRICES
    assert outlay(SignalChain()) == outlay(SignalChain(), PRICES)


def test_a_build_of_the_search_is_judged_as_the_chain_that_it_makes() -> None:
    wish = Wish(life_h=100.0, parts=8.0, cost=3.0, prices=PRICES)
    found = search(THIN, DRAWER, wish)
    staged = [build for build in found.builds if build.transistor is not None]
    assert staged
    for build in staged:
        judged = judged_figures(judgement(as_chain(THIN, DRAWER, build)), wish)
        assert build.figures["parts"] == build.parts == float(judged.parts)
        assert build.figures["cost"] == pytest.approx(float(judged.cost))
        assert build.figures["life_h"] == pytest.approx(battery(as_chain(THIN, DRAWER, build)).life_h, rel=2e-3)
        assert float(judged.life_h) == battery(as_chain(THIN, DRAWER, build)).life_h
        assert not missed(judged, wish)


def test_each_limit_binds() -> None:
    for wish in (Wish(parts=4.0), Wish(cost=1.0, prices=PRICES), Wish(life_h=20_000.0)):
        name = next(name for name in ("parts", "cost", "life_h") if getattr(wish, name) is not None)
        found = [pool for pool in pools(Bench(THIN, DRAWER, wish)) if pool.wiring.powered]
        assert found and all(np.all(pool.stood.margins[name] < 0) for pool in found)
    enough = [pool for pool in pools(Bench(THIN, DRAWER, Wish(parts=5.0))) if pool.wiring.name == "follower"]
    assert np.all(enough[0].stood.margins["parts"] == 0)


def test_two_pieces_for_one_are_counted_as_two() -> None:
    drawer = Drawer((2.2e3, 6.8e3, 100e3, 150e3), DRAWER.capacitors, DRAWER.transistors)  # no gate resistor of its own
    found = search(THIN, drawer, Wish(low_note_db=30.0, parts=5.0, headroom_db=None, gain_db=None))
    joined = [build for build in found.front if any(taken.joined for taken in build.takes)]
    assert all(build.parts > 5 and "parts" in build.misses for build in joined)


def test_less_than_no_limit_changes_nothing_and_what_is_not_asked_is_not_worked_out() -> None:
    chain = SignalChain()
    plain = judged_figures(judgement(chain))
    assert np.isnan([plain.life_h, plain.parts, plain.cost]).all()
    assert set(margins(plain, Wish())).isdisjoint({"life_h", "parts", "cost"})
    asked = spread(chain, wish=Wish(life_h=1e3, parts=20.0, cost=50.0), size=200)
    assert {"life_h", "parts", "cost"} <= set(asked.fits_each) and asked.fits_each["parts"] == 1.0
    assert asked.fits_each["life_h"] == pytest.approx(float(np.mean(asked.life_h >= 1e3)))


def test_without_a_battery_it_lasts_for_ever_and_a_bare_pickup_costs_nothing() -> None:
    for chain in (SignalChain(supply="adapter"), SignalChain(stage="direct")):
        judged = judged_figures(judgement(chain), Wish(life_h=1e6))
        assert float(judged.life_h) == np.inf and "life_h" not in missed(judged, Wish(life_h=1e6))
    assert outlay(SignalChain(stage="direct")) == (0, 0.0)
