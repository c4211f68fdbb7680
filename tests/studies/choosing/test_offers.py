"""What the drawer offers: counts, reasons, two for one, what stands in the way and what to buy; see `test_search_bar`
for trying everything."""

import numpy as np
import pytest

from piezolab.chain import ChainError, SignalChain
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor, buildable, set_aside, within_counts
from piezolab.studies.choosing.offers import STAGED, search
from piezolab.studies.choosing.one_build import as_chain
from piezolab.studies.choosing.wirings import pairs, wirings
from piezolab.studies.choosing.worst_case import interval
from piezolab.studies.judging.wish import Wish

MINE = DrawerTransistor("J113", 6e-3, 1.6, name="1")
DRAWER = Drawer((2.2e3, 4.7e3, 6.8e3, 10e3, 100e3, 1e6, 4.7e6), (100e-9, 1e-6, 22e-6), (DrawerTransistor("J113"), MINE))
SMALL = Drawer((2.2e3, 4.7e3, 100e3, 1e6), (1e-6, 22e-6), (MINE,))
THIN = SignalChain(pickup_c=0.5e-9)


def pieces(build) -> list[float]:
    return [piece for taken in build.takes for piece in taken.pieces]


@pytest.fixture(scope="module")
def found():
    return search(THIN.but(play_v=0.3), DRAWER)


def test_each_offer_has_its_own_reason_and_is_truly_another(found) -> None:
    assert 1 < len(found.builds) <= 8 and found.nearest is None and found.buy is None
    assert len({build.reasons[0] for build in found.builds}) == len(found.builds)
    for build in found.builds:
        assert build.fit.sure and not build.fails and not build.misses
        assert build.parts == len(pieces(build)) + (build.transistor is not None)
    room = max(found.builds, key=lambda build: build.figures["headroom_db"])
    others = [build.figures["headroom_db"] for build in found.builds if build is not room]
    assert ("most room" in room.reasons) == (room.figures["headroom_db"] >= max(others) + 3.0)
    staged = search(SignalChain(pickup_c=15e-9, play_v=0.3), SMALL)
    assert staged.builds[0].kind == "direct" and staged.builds[1].reasons[0] == STAGED


def test_the_front_is_beaten_by_none(found) -> None:
    def better(a, b) -> bool:
        pairs_of = [(a.figures[name], b.figures[name]) for name in ("headroom_db", "gain_db", "snr_db_a")]
        pairs_of += [(b.figures["current_a"], a.figures["current_a"]), (b.parts, a.parts)]
        return all(x >= y for x, y in pairs_of) and any(x > y + 0.1 for x, y in pairs_of)

    assert len(found.front) > 2 and not any(build.misses for build in found.front)
    assert not any(better(a, b) for a in found.front for b in found.front)


def test_counts_are_obeyed_the_supply_first() -> None:
    chain = THIN.but(play_v=0.3, supply_c=22e-6)
    drawer = Drawer(SMALL.resistors + (4.7e6,), (1e-6, 22e-6), (MINE,), {1e6: 1, 22e-6: 1, 1e-6: 1, 2.2e3: 1, 4.7e3: 1})
    assert set_aside(chain, drawer)[22e-6] == 0 and set_aside(chain, drawer)[1e-6] == 1
    told = search(chain, drawer)
    named = [*told.builds, *told.front]
    assert {build.kind for build in named} > {"follower"}
    for build in named:
        assert within_counts(pieces(build), {1e6: 1, 22e-6: 0, 1e-6: 1, 2.2e3: 1, 4.7e3: 1}), build
    made = as_chain(chain, drawer, told.builds[0])
    assert buildable(made, drawer)
    if 1e6 in pieces(told.builds[0]):
        assert not buildable(made, Drawer(drawer.resistors, drawer.capacitors, (MINE,), {1e6: 0}))


def test_two_stand_for_the_one_value_that_is_lacking() -> None:
    drawer = Drawer((4.7e3, 6.8e3, 100e3, 120e3), (1e-6, 22e-6), (MINE,), {100e3: 2, 120e3: 1})
    gate = next(kind for kind in wirings(drawer) if kind.name == "follower").slot("gate_r")
    assert gate.takes == ((100e3, 120e3),) and gate.joined == ("series",)
    assert gate.settings["gate_r"][0] == pytest.approx(220e3)
    both = pairs("out_c", Drawer(capacitors=(10e-9, 47e-9), counts={47e-9: 1}))
    got = dict(zip(both.settings["out_c"].tolist(), zip(both.takes, both.joined, strict=True), strict=True))
    assert got[57e-9] == ((10e-9, 47e-9), "parallel") and max(got) < 94e-9
    told = search(SignalChain(pickup_c=10e-9, play_v=0.3), drawer, Wish(low_note_db=6.0))
    joined = [build for build in (*told.builds, *told.front) if build.kind == "follower"]
    assert joined and all(build.takes[0].joined == "series" for build in joined)
    assert not any(pieces(build).count(120e3) > 1 or pieces(build).count(100e3) > 2 for build in joined)


def test_what_stands_in_the_way_and_the_one_part_that_helps() -> None:
    low = Drawer((2.2e3, 4.7e3, 6.8e3, 100e3, 330e3), (100e-9, 22e-6), (MINE,))
    told = search(THIN.but(play_v=0.3), low)
    assert not told.builds and told.nearest is not None and told.nearest.fit.share < 0.975
    assert told.obstacle.wishes[0] == "low_note_db" and told.obstacle.lack_db > 0
    assert (told.buy.what, told.buy.key, told.buy.misses) == ("resistor", "gate_r", ())
    bought = search(THIN.but(play_v=0.3), low.with_value("resistor", told.buy.value))
    assert bought.builds, "with it a build fits"
    torn = search(THIN, SMALL, Wish(gain_db=40.0))
    assert "gain_db" in torn.obstacle.wishes and torn.obstacle.alone and not torn.builds


def test_what_the_drawer_lacks() -> None:
    empty = search(SignalChain(), Drawer())
    assert [build.kind for build in empty.builds] == ["direct"]
    assert set(empty.missing["follower"]) == {"gate_r", "bleed_r", "out_c", "source_r", "jfet"}
    with pytest.raises(ChainError, match="'NONE' is not known"):
        search(SignalChain(), Drawer(SMALL.resistors, SMALL.capacitors, (DrawerTransistor("NONE"),)))
    for wrong in ({"resistor_percent": 51.0}, {"capacitor_percent": -1.0}, {"counts": {1e3: -1}}):
        with pytest.raises(ValueError, match="out of range"):
            Drawer(**wrong)


def test_a_search_tells_how_far_it_is_and_says_the_same_again() -> None:
    parts: list[float] = []
    first = search(THIN.but(play_v=0.3), SMALL, told=parts.append)
    assert parts == sorted(parts) and parts[-1] == 1.0
    again = search(THIN.but(play_v=0.3), SMALL)
    assert [build.changes for build in again.builds] == [build.changes for build in first.builds]


def test_the_interval_of_a_share_against_the_binomial_sum() -> None:
    """Clopper and Pearson's ends are where one more, or one fewer, would be as rare as the doubt: term by term."""
    from math import comb

    for fit, size in ((0, 10), (3, 10), (48, 50), (50, 50)):
        low, high = interval(fit, size, 0.025)
        chance = [lambda p, k=k, n=size: comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(size + 1)]
        if fit:
            assert sum(term(low) for term in chance[fit:]) == pytest.approx(0.025, rel=1e-9)
        if fit < size:
            assert sum(term(high) for term in chance[: fit + 1]) == pytest.approx(0.025, rel=1e-9)
    with pytest.raises(ValueError, match="out of range"):
        interval(11, 10)
    assert np.isclose(interval(0, 5)[0], 0) and np.isclose(interval(5, 5)[1], 1)
