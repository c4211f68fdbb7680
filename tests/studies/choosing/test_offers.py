"""The drawer: what it ranks first, what it lacks, and what it names; see `test_search_bar` for trying everything."""

import pytest

from piezolab.chain import ChainError, SignalChain
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.parts_search import as_chain, search
from piezolab.studies.judging.wish import Wish

E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
FULL = Drawer(
    tuple(round(value * decade) for decade in (100, 1000, 10_000, 100_000) for value in E6) + (1e6, 4.7e6),
    (100e-9, 1e-6, 10e-6, 47e-6),
    (DrawerTransistor("J113"), DrawerTransistor("2N5457", 2.5e-3, 2.2)),
)
SMALL = Drawer((2.2e3, 4.7e3, 100e3, 1e6), (1e-6, 22e-6), (DrawerTransistor("J113"),))


def test_the_best_comes_first_and_the_plainest_of_equals() -> None:
    found = search(SignalChain(), FULL, Wish())
    assert found.builds[0].kind == "direct" and not found.builds[0].fails
    fails = [len(build.fails) for build in found.builds]
    assert fails == sorted(fails)
    assert max(sum(build.kind == kind for build in found.builds) for kind in {b.kind for b in found.builds}) <= 6
    thin = search(SignalChain(pickup_c=0.5e-9), FULL, Wish())
    assert thin.builds[0].kind == "follower" and not thin.builds[0].fails


def test_a_measured_transistor_comes_before_its_type_and_no_stage_thumps() -> None:
    both = Drawer(FULL.resistors, FULL.capacitors, (DrawerTransistor("J113"), DrawerTransistor("J113", 8e-3, 1.4)))
    found = search(SignalChain(pickup_c=2e-9, tuning="E1", gate_r=1e6, play_v=0.5), both, best=8)
    fitting = [build for build in found.builds if not build.fails]
    assert fitting and fitting[0].transistor == 1
    places = [build.transistor for build in fitting]
    assert places == sorted(places, reverse=True)
    for build in fitting:
        assert build.figures["step_v"] <= 0.1 and build.figures["settle_s"] <= 3 and build.figures["dc_v"] <= 0.05
    # without limits for it, still the smallest capacitor that keeps the bass: 100 nF, not 47 uF
    calm = search(SignalChain(pickup_c=0.5e-9), both, Wish(step_v=None, settle_s=None, dc_v=None))
    assert calm.builds[0].changes["out_c"] == 100e-9


def test_which_wish_fails() -> None:
    weak = search(SignalChain(), SMALL, Wish(gain_db=40.0))
    assert weak.never == ("gain_db",)
    assert all("gain_db" in build.fails for build in weak.builds)
    torn = search(SignalChain(play_v=1.0), SMALL, Wish(gain_db=12.0, headroom_db=0.0))
    assert torn.never == () and all(build.fails for build in torn.builds)


def test_what_the_drawer_lacks() -> None:
    empty = search(SignalChain(), Drawer())
    assert [build.kind for build in empty.builds] == ["direct"]
    assert set(empty.missing["follower"]) == {"gate_r", "bleed_r", "out_c", "source_r", "jfet"}
    no_bypass = search(SignalChain(), Drawer((2.2e3, 4.7e3, 100e3, 1e6), (100e-9,), (DrawerTransistor("J113"),)))
    assert no_bypass.missing["gain, bypassed"] == ("bypass_c",)
    assert "follower" in {build.kind for build in no_bypass.builds}


def test_frontier_is_beaten_by_none() -> None:
    found = search(SignalChain(play_v=0.1), FULL, Wish(gain_db=0.0))
    names = ("low_note_db", "headroom_db", "gain_db")

    def better(a, b) -> bool:
        pairs = [(a.figures[name], b.figures[name]) for name in names]
        pairs.append((b.figures["current_a"], a.figures["current_a"]))
        return all(x >= y + 1e-5 for x, y in pairs)

    front = [build for build in found.builds if build.frontier]
    assert front
    assert not any(better(other, build) for build in front for other in found.builds)


def test_measured_transistor_of_the_drawer_is_used() -> None:
    found = search(SignalChain(pickup_c=0.5e-9, jfet_ig=1e-9), FULL, Wish())
    build = next(build for build in found.builds if build.transistor == 1)
    chain = as_chain(SignalChain(pickup_c=0.5e-9, jfet_ig=1e-9), FULL, build)
    assert (chain.jfet, chain.jfet_idss, chain.jfet_vgsoff) == ("2N5457", 2.5e-3, -2.2)
    assert "jfet_ig" not in chain.entered
    with pytest.raises(ChainError, match="'NONE' is not known"):
        search(SignalChain(), Drawer(SMALL.resistors, SMALL.capacitors, (DrawerTransistor("NONE"),)))
