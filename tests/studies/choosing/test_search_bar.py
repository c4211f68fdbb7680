"""The drawer's bar: what fits does so afresh through the whole judgement, and trying everything finds nothing better.

A dozen searches in each run, PIEZOLAB_LONG=1 takes 300, of either kind. Long run of 27 November 2026: all 300 searches
and all 300 small drawers passed, in 15 minutes.
"""

import itertools
import os

import numpy as np
import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.bias import bias_of
from piezolab.studies.choosing.build_figures import whole_figures
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.parts_search import as_chain, search
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.judging.judgement import Judgement
from piezolab.studies.judging.wish import Wish, judged_figures
from piezolab.studies.response import low_note_hz

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
COUNT, SEED = 300 if LONG else 12, 1109
RESISTORS = (470.0, 1e3, 2.2e3, 3.3e3, 4.7e3, 6.8e3, 10e3, 22e3, 47e3, 100e3, 220e3, 470e3, 1e6, 2.2e6, 10e6)
CAPACITORS = (47e-9, 100e-9, 470e-9, 1e-6, 2.2e-6, 10e-6, 47e-6, 100e-6)


def some(rng: np.random.Generator, of, least: int, most: int) -> tuple:
    return tuple(sorted(rng.choice(of, int(rng.integers(least, most + 1)), replace=False).tolist()))


def drawn(number: int, small: bool) -> tuple[SignalChain, Drawer, Wish]:
    """A chain, a drawer (a small one holds at most 200 builds) and a wish."""
    rng = np.random.default_rng([SEED, number, small])
    chain = SignalChain(
        pickup_c=float(rng.choice([440e-12, 1e-9, 4.7e-9, 15e-9])), play_v=float(rng.choice([0.05, 0.2, 0.5, 1.0])),
        input=str(rng.choice(["amplifier", "line", "acoustic-amplifier"])),
        tuning=str(rng.choice(["D3-A3-D4", "E1", "E2", "G3"])), supply=str(rng.choice(["alkaline-9v", "adapter"])),
    )  # fmt: skip
    wish = Wish(gain_db=float(rng.choice([-3.0, -3.0, 6.0])), headroom_db=float(rng.choice([0.0, 3.0])),
                dc_v=0.01 if rng.random() < 0.2 else 0.05)  # fmt: skip
    types = list(catalogue.transistors())
    parts = [DrawerTransistor(str(rng.choice(types))), DrawerTransistor("J113", 6e-3, float(rng.uniform(0.6, 2.5)))]
    if not small:
        values = some(rng, RESISTORS, 6, 15 if LONG else 10), some(rng, CAPACITORS, 3, 8)
        return chain, Drawer(*values, tuple(parts)), wish
    resistors = (*some(rng, RESISTORS[:8], 1, 2), 100e3, float(rng.choice([1e6, 2.2e6])))
    return chain, Drawer(resistors, some(rng, CAPACITORS, 1, 2), tuple(parts[: int(rng.integers(1, 3))])), wish


@pytest.mark.parametrize("block", range(0, COUNT, 12))
def test_what_fits_does_so_afresh(block: int) -> None:
    fitting = 0
    for number in range(block, block + 12):
        chain, drawer, wish = drawn(number, small=False)
        for build in search(chain, drawer, wish, best=4).builds:
            judged = Judgement(as_chain(chain, drawer, build))
            afresh = judged_figures(judged)
            for name, value in build.figures.items():
                assert value == pytest.approx(getattr(afresh, name).item(), rel=1e-5, abs=1e-6, nan_ok=True), name
            plug = judged.plug
            within = (
                judged.working is None or judged.working.life, judged.edges.headroom_db >= wish.headroom_db,
                judged.sound.balance_db >= -1.0, judged.sound.at_1khz_db >= wish.gain_db,
                plug is None or abs(plug.step_v) <= 0.1, plug is None or plug.settle_s <= 3.0,
                plug is None or abs(plug.dc_v) <= wish.dc_v,
            )  # fmt: skip
            assert (not build.fails) == all(within), (str(chain), build)
            fitting += not build.fails
    assert fitting > 12


# -- trying everything ------------------------------------------------------------------------------------------------
def everything(chain: SignalChain, drawer: Drawer, wish: Wish) -> list[tuple[tuple, str]]:
    """The key of every build by the stated order, smaller is better, and its kind."""
    high, sources = (
        [r for r in drawer.resistors if low <= r <= most] for low, most in ((220e3, 1e9), (47.0, 220e3))
    )
    bleeds, drains = ([r for r in drawer.resistors if low <= r <= most] for low, most in ((22e3, 10e6), (220.0, 220e3)))
    bridges = [c for c in drawer.capacitors if c >= 1e-6]
    halves = [2 * r for r in drawer.resistors if 100e3 <= r <= 10e6]
    usual = {"source_r": sources, "gate_r": high, "bleed_r": bleeds, "out_c": drawer.capacitors}
    ground = {"return": "ground", "gate_stop": 0.0}
    divider = {"return": "divider", "return_part": 0.5, "gate_stop": 0.0}
    follower = {"stage": "follower", "drain_r": 0.0, "bypass_c": 0.0}
    kinds = [
        ({**follower, **ground}, usual),
        ({**follower, **divider}, {**usual, "divider_r": halves, "divider_c": bridges}),
        ({"stage": "gain", "bypass_c": 0.0, **ground}, {**usual, "drain_r": drains}),
        ({"stage": "gain", "bypass_part": 1.0, **ground}, {**usual, "drain_r": drains, "bypass_c": bridges}),
    ]
    keys = _keys(chain.but(stage="direct"), {}, wish, plainness=0, of_type=False)
    for plainness, (fixed, choices) in enumerate(kinds, 1):
        rows, able = [], []  # of all transistors
        table = np.array(list(itertools.product(*choices.values()))).reshape(-1, len(choices))
        for part in drawer.transistors if len(table) else ():
            base = chain.but(fixed).but(part.entered())
            columns = dict(zip(choices, table.T, strict=True))
            rows += _keys(base, columns, wish, plainness, part.idss is None)
            able += _able(base, columns)
        # of a kind, what has no current or does not work counts only where nothing else is there
        keys += [row for row, good in zip(rows, able, strict=True) if good or not any(able)]
    return keys


def _able(base: SignalChain, columns: dict[str, np.ndarray]) -> list[bool]:
    """Which of them work with at least 0.1 mA, at every supply voltage."""
    good: np.ndarray = np.ones(len(columns["gate_r"]), bool)
    ends = battery_range(base)
    for supply_v in (base.supply_v, *(ends[:2] if ends else ())):
        at = bias_of(base.values.but(**columns, supply_v=supply_v))
        good &= at.works & (at.i_d >= 100e-6)
    return good.tolist()


def _keys(base: SignalChain, columns: dict[str, np.ndarray], wish: Wish, plainness: int, of_type: bool) -> list[tuple]:
    each = whole_figures(base.values.but(**columns), low_note_hz(base), with_noise=False)
    farad = sum(columns[key] for key in ("out_c", "bypass_c", "divider_c") if key in columns) if columns else 0.0
    count = len(columns["gate_r"]) if columns else 1
    found = []
    for k, (low, room, gain, step, settle, dc, _, _, works, capacitors) in enumerate(
        zip(*(np.broadcast_to(figure, count) for figure in (*vars(each).values(), farad)), strict=True)
    ):
        with np.errstate(divide="ignore"):
            plug = [-20 * np.log10(x / most) for x, most in ((step, 0.1), (settle, 3.0), (dc, wish.dc_v))]
            margins = [low + 1.0, room - wish.headroom_db, gain - wish.gain_db, *plug]
        fails = sum(m < 0 for m in margins) if works else 7
        miss = round(-2 * min(0.0, max(-200.0, min(margins)))) if works else 400
        spare = sum(min(6.0, max(-200.0, m)) for m in margins[1:3])
        rests = (plainness, of_type, *(columns[key][k] for key in ("source_r", "drain_r") if key in columns))
        found.append((rests, (fails, miss), capacitors, (of_type, plainness, -round(spare, 3))))
    return found


@pytest.mark.parametrize("block", range(0, COUNT, 12))
def test_trying_everything_finds_nothing_better(block: int) -> None:
    sizes = []
    for number in range(block, block + 12):
        chain, drawer, wish = drawn(number, small=True)
        groups: dict[tuple, list[tuple]] = {}
        keys = everything(chain, drawer, wish)
        if len(keys) > 200:
            drawer = Drawer(drawer.resistors, drawer.capacitors[:1], drawer.transistors[:1])
            keys = everything(chain, drawer, wish)
        for rests, first, capacitors, then in keys:
            groups.setdefault(rests, []).append((first, capacitors, then))
        best = min((first, then) for first, _, then in (min(group) for group in groups.values()))
        found = search(chain, drawer, wish).builds[0]
        got = _keys(as_chain(chain, drawer, found), {}, wish, plainness=0, of_type=False)[0]
        of_type = found.transistor is not None and drawer.transistors[found.transistor].idss is None
        kinds = ("direct", "follower", "follower at a divider", "gain", "gain, bypassed")
        assert (got[1], (of_type, kinds.index(found.kind), got[3][2])) == best, (str(chain), drawer, found)
        sizes.append(len(keys))
    assert 10 < max(sizes) <= 200
