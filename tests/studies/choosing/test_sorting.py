"""A bag sorted: which part goes where, which two match, which to put aside; against other roads and the search."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis
from scipy.stats import kstest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.choosing import sorting
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor, buildable
from piezolab.studies.choosing.matching import pairs_of, type_spread, where_in_its_type
from piezolab.studies.choosing.offers import search
from piezolab.studies.choosing.one_build import as_chain
from piezolab.studies.choosing.sorting import doubt, sorted_bag, to_fetch
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import Wish, judged_figures, missed
from piezolab.studies.population import population
from piezolab.studies.response import response

TIN = (1e3, 1.5e3, 2.2e3, 3.3e3, 4.7e3, 6.8e3, 10e3, 22e3, 100e3, 1e6, 4.7e6)
BAG = tuple(
    DrawerTransistor("2N3819", idss, vgsoff, name=str(n))
    for n, (idss, vgsoff) in enumerate(
        ((3e-3, -1.6), (12e-3, -4.9), (7e-3, -3.0), (14e-3, -7.0), (6.8e-3, -3.05)), start=1
    )
)


@pytest.fixture(scope="module")
def tin_only():
    """Five measured transistors and a tin of resistors."""
    drawer = Drawer(TIN, (), BAG)
    return drawer, sorted_bag(SignalChain(), drawer)


def test_five_transistors_and_a_tin_of_resistors_become_builds_to_solder(tin_only) -> None:
    drawer, found = tin_only
    assert {each.place for each in found.goes} | {each.place for each in found.aside} == set(range(5))
    assert len(found.goes) >= 3 and found.bought == sorting.BOUGHT
    for suited in found.goes:
        chain = as_chain(SignalChain(), drawer, suited.build)
        assert not missed(judged_figures(judgement(chain)), Wish()), "as the judgement has it"
        assert bias(chain.but(supply_v=6.0)).region == "saturation"
        assert suited.build.fit.low > 0.97
        fetched = to_fetch(suited.build, drawer)
        assert fetched and all(key.endswith("_c") for key, _ in fetched), "no resistor is bought"
        whole = replace(drawer, capacitors=sorting.BOUGHT)
        assert buildable(chain, whole) and not buildable(chain, drawer)


def test_a_part_goes_where_it_stands_best_among_the_bag(tin_only) -> None:
    _, found = tin_only
    for suited in found.goes:
        own = [row.rank for rows in found.stages.values() for row in rows if row.place == suited.place]
        assert suited.rank == min(own)
        rank = [row.place for row in found.stages[suited.build.kind]]
        assert rank[suited.rank] == suited.place
    for kind, rows in found.stages.items():
        worst = [min(row.build.worst_db.values()) for row in rows]
        assert all(margin >= 0 for margin in worst), kind


def test_the_best_of_the_bag_is_no_worse_than_what_the_search_finds_with_all_of_them() -> None:
    drawer = Drawer(TIN, (1e-6, 10e-6), BAG[:3])
    found, whole = sorted_bag(SignalChain(), drawer), search(SignalChain(), drawer)
    stages = {build.kind for build in whole.builds if build.transistor is not None}
    assert stages and stages <= set(found.stages)
    assert {build.transistor for build in whole.builds} - {None} <= {each.place for each in found.goes}


def test_what_is_put_aside_says_why() -> None:
    odd = (
        DrawerTransistor("2N3819", 5e-3, -30.0, name="a"),  # no such part
        DrawerTransistor("2N3819", 19e-3, -2.0, name="b"),  # four times the current that goes with its V_GS(off)
        DrawerTransistor("2N3819", 19e-3, -5.5, name="c"),  # more volts than there are
        DrawerTransistor("2N3819", name="d"),  # not measured
    )
    chain = SignalChain(supply="adapter", supply_v=5.0)
    found = sorted_bag(chain, Drawer((4.7e3, 10e3, 100e3, 1e6), (1e-6,), odd))
    why = {each.place: each.why for each in found.aside}
    assert found.places == (0, 1, 2) and not found.goes and not found.pairs
    assert why == {0: sorting.OUTSIDE, 1: sorting.UNLIKELY, 2: sorting.IDLE}
    assert next(each for each in found.aside if each.place == 0).outside == ("vgsoff",)
    quiet = sorted_bag(chain, Drawer(TIN, (1e-6,), BAG[2:3]), Wish(gain_db=20.0))
    assert [(each.why, each.misses) for each in quiet.aside] == [(sorting.MISSES, ("gain_db",))]


def test_parts_of_the_population_are_hardly_ever_doubted() -> None:
    for jfet in ("J113", "2N3819", "2N5457"):
        drawn = population(jfet, 400, seed=5)
        parts = [DrawerTransistor(jfet, i, v, vds=drawn.vds) for i, v in zip(drawn.idss, drawn.vgsoff, strict=True)]
        assert sum(doubt(part) is not None for part in parts) == 0
        assert doubt(replace(parts[0], idss=3 * parts[0].idss)) is not None


def test_an_empty_bag_is_no_mistake() -> None:
    found = sorted_bag(SignalChain(), Drawer(TIN, (1e-6,), (DrawerTransistor("J113"),)))
    assert (found.places, found.goes, found.aside, found.pairs) == ((), (), (), ())


# -- matching --------------------------------------------------------------------------------------------------------
def test_distance_is_that_of_scipy_in_the_population_and_needs_no_choice_of_figures() -> None:
    drawn = population("J113", 20_000, 1936)
    points = np.log(np.stack([-drawn.vgsoff, drawn.idss], axis=-1))
    inverse = np.linalg.inv(np.cov(points, rowvar=False))
    spread = type_spread("J113")
    rng = np.random.default_rng(1)
    for _ in range(20):
        a, b = points[rng.integers(len(points), size=2)]
        assert float(spread.distance(a, b)) == pytest.approx(mahalanobis(a, b, inverse), rel=1e-9)
    # beta in place of I_DSS is another axis of the same plane: the distance stays
    turned = points @ np.array([[1.0, -2.0], [0.0, 1.0]])
    other = np.linalg.inv(np.cov(turned, rowvar=False))
    assert mahalanobis(points[0], points[1], inverse) == pytest.approx(mahalanobis(turned[0], turned[1], other))


def test_pairs_taken_blindly_spread_evenly_over_the_share() -> None:
    """By construction a fresh blind pair is as likely at any share: Kolmogorov and Smirnov's test."""
    spread, drawn = type_spread("2N5457-2"), population("2N5457-2", 4000, seed=77)
    points = np.log(np.stack([-drawn.vgsoff, drawn.idss], axis=-1))
    shares = spread.blindly(spread.distance(points[:2000], points[2000:]))
    assert kstest(shares, "uniform").pvalue > 0.01
    assert spread.blindly(0.0) == 0.0 and spread.blindly(100.0) == 1.0


def test_the_best_pair_is_the_one_whose_stages_are_alike() -> None:
    pairs = pairs_of(SignalChain(), BAG)
    assert len(pairs) == 10 and (pairs[0].first, pairs[0].second) == (2, 4)
    assert [pair.distance for pair in pairs] == sorted(pair.distance for pair in pairs)
    level = [response(SignalChain().but(BAG[k].entered())).gain_1khz for k in (2, 4)]
    rest = [bias(SignalChain().but(BAG[k].entered())).v_s for k in (2, 4)]
    assert pairs[0].level_db == pytest.approx(abs(20 * np.log10(level[0] / level[1])), abs=1e-9)
    assert pairs[0].rest_v == pytest.approx(abs(float(rest[0]) - float(rest[1])), abs=1e-9)


def test_a_part_read_at_another_voltage_is_the_same_part() -> None:
    kind = catalogue.transistors()["2N3819"]
    chain = SignalChain(jfet="2N3819")
    lambda_ = float(chain.values.jfet_lambda)
    at_9 = DrawerTransistor("2N3819", 7e-3, -3.0, vds=9.0)
    moved = DrawerTransistor("2N3819", 7e-3 * (1 + lambda_ * kind.idss_vds) / (1 + lambda_ * 9), -3.0, kind.idss_vds)
    np.testing.assert_allclose(where_in_its_type(at_9), where_in_its_type(moved), rtol=1e-12)
    with pytest.raises(ValueError, match="was not measured; allowed are measured ones"):
        where_in_its_type(DrawerTransistor("2N3819"))


def test_two_types_are_no_pair() -> None:
    mixed = (BAG[0], DrawerTransistor("J113", 6e-3, -1.6), DrawerTransistor("J113"))
    assert pairs_of(SignalChain(stage="direct"), mixed) == ()
