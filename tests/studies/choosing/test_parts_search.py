"""The drawer: against trying everything chain by chain, and against common sense."""

import itertools

import numpy as np
import pytest

from piezolab.chain import ChainError, SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.choosing.build_figures import Wishes, build_figures, margins
from piezolab.studies.choosing.parts_search import Drawer, DrawerTransistor, as_chain, search
from piezolab.studies.response import low_note_hz

E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
FULL = Drawer(
    tuple(round(value * decade) for decade in (100, 1000, 10_000, 100_000) for value in E6) + (1e6, 4.7e6),
    (100e-9, 1e-6, 10e-6, 47e-6),
    (DrawerTransistor("J113"), DrawerTransistor("2N5457", 2.5e-3, 2.2)),
)
SMALL = Drawer((2.2e3, 4.7e3, 100e3, 1e6), (1e-6, 22e-6), (DrawerTransistor("J113"),))


@pytest.mark.parametrize(
    ("changes", "wishes"),
    [
        ({}, Wishes(snr_db_a=80.0)),
        ({"play_v": 0.1}, Wishes(gain_db=12.0)),
        ({"pickup_c": 1e-9}, Wishes(current_a=0.5e-3)),
    ],
)
def test_each_build_is_what_it_says(changes, wishes) -> None:
    chain = SignalChain(changes)
    found = search(chain, FULL, wishes)
    assert len(found.builds) == 12 and found.tried > 1000
    for build in found.builds:
        built = as_chain(chain, FULL, build)
        alone = build_figures(built.values, low_note_hz(built), with_noise=wishes.snr_db_a is not None)
        for name, value in build.figures.items():
            assert value == pytest.approx(getattr(alone, name).item(), rel=1e-9, abs=1e-9, nan_ok=True)
        own = margins(alone, wishes)
        assert set(build.fails) == {name for name, margin in own.items() if margin < 0}
        parts = {build.changes[key] for key in ("source_r", "gate_r", "out_c", "bleed_r") if key in build.changes}
        assert parts <= {*FULL.resistors, *FULL.capacitors}


def test_small_drawer_against_trying_everything() -> None:
    """Every follower and gain stage of the small drawer, one by one: none meets more wishes than the first build."""
    chain, wishes = SignalChain(play_v=0.1), Wishes(gain_db=12.0, headroom_db=0.0)
    found = search(chain, SMALL, wishes)
    fewest = np.inf
    for stage, source_r, drain_r, gate_r, out_c, bypass_c, bleed_r in itertools.product(
        ("follower", "gain"), SMALL.resistors, SMALL.resistors, (1e6,), SMALL.capacitors, (0.0, 22e-6), (100e3, 1e6)
    ):
        built = chain.but(
            {"stage": stage, "source_r": source_r, "drain_r": drain_r if stage == "gain" else 0.0, "gate_r": gate_r,
             "out_c": out_c, "bypass_c": bypass_c, "bleed_r": bleed_r}
        )  # fmt: skip
        figures = build_figures(built.values, low_note_hz(built), with_noise=False)
        fewest = min(fewest, sum(bool(margin < 0) for margin in margins(figures, wishes).values()))
    assert len(found.builds[0].fails) == fewest == 0
    assert found.builds[0].kind == "gain, bypassed"
    assert bias(as_chain(chain, SMALL, found.builds[0])).region == "saturation"


def test_the_best_comes_first_and_the_plainest_of_equals() -> None:
    found = search(SignalChain(), FULL, Wishes())
    assert found.builds[0].kind == "direct" and not found.builds[0].fails
    fails = [len(build.fails) for build in found.builds]
    assert fails == sorted(fails)
    assert max(sum(build.kind == kind for build in found.builds) for kind in {b.kind for b in found.builds}) <= 6
    thin = search(SignalChain(pickup_c=0.5e-9), FULL, Wishes())
    assert thin.builds[0].kind == "follower" and not thin.builds[0].fails


def test_which_wish_fails() -> None:
    weak = search(SignalChain(), SMALL, Wishes(gain_db=40.0))
    assert weak.never == ("gain_db",)
    assert all("gain_db" in build.fails for build in weak.builds)
    torn = search(SignalChain(play_v=1.0), SMALL, Wishes(gain_db=12.0, headroom_db=0.0))
    assert torn.never == () and all(build.fails for build in torn.builds)


def test_what_the_drawer_lacks() -> None:
    empty = search(SignalChain(), Drawer())
    assert [build.kind for build in empty.builds] == ["direct"]
    assert set(empty.missing["follower"]) == {"gate_r", "bleed_r", "out_c", "source_r", "jfet"}
    no_bypass = search(SignalChain(), Drawer((2.2e3, 4.7e3, 100e3, 1e6), (100e-9,), (DrawerTransistor("J113"),)))
    assert no_bypass.missing["gain, bypassed"] == ("bypass_c",)
    assert "follower" in {build.kind for build in no_bypass.builds}


def test_frontier_is_beaten_by_none() -> None:
    found = search(SignalChain(play_v=0.1), FULL, Wishes(gain_db=0.0))
    names = ("low_note_db", "headroom_db", "gain_db")

    def better(a, b) -> bool:
        pairs = [(a.figures[name], b.figures[name]) for name in names]
        pairs.append((b.figures["current_a"], a.figures["current_a"]))
        return all(x >= y + 1e-5 for x, y in pairs)

    front = [build for build in found.builds if build.frontier]
    assert front
    assert not any(better(other, build) for build in front for other in found.builds)


def test_measured_transistor_of_the_drawer_is_used() -> None:
    found = search(SignalChain(pickup_c=0.5e-9, jfet_ig=1e-9), FULL, Wishes())
    build = next(build for build in found.builds if build.transistor == 1)
    chain = as_chain(SignalChain(pickup_c=0.5e-9, jfet_ig=1e-9), FULL, build)
    assert (chain.jfet, chain.jfet_idss, chain.jfet_vgsoff) == ("2N5457", 2.5e-3, -2.2)
    assert "jfet_ig" not in chain.entered
    with pytest.raises(ChainError, match="'NONE' is not known"):
        search(SignalChain(), Drawer(SMALL.resistors, SMALL.capacitors, (DrawerTransistor("NONE"),)))
