"""A chain is solved once: what must not solve again, and how much each chapter solves when it is opened.

Matrices factorised at rest with the default chain, before (each study by itself) and now. Calls count an elimination
for a whole batch as one, members count each network at each frequency; points are operating points asked for.

| chapter                   | calls before | now | members before |    now | points before | now |
| where the bass goes       |           30 |  37 |          3 126 |  4 869 |             7 |   4 |
| cable and input           |          138 |  46 |         16 729 |  5 206 |            35 |   4 |
| hiss and hum              |          318 |  26 |         55 546 | 13 716 |            77 |   5 |
| how loud before it clips  |          152 |  46 |            152 |  1 402 |            22 |  20 |
| build it and check it     |          154 |  19 |         17 580 |  2 442 |           116 |   8 |

Calls and members are a third of what they were, but for two chapters that now ask more: the first and second judge what
a stage is worth, hum and hiss included; the fifth asks of the chain, and of each change that gives more room, what it
does to the bass, which is a curve of 453 frequencies each: all but 43 of its members.
"""

import importlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.circuit import operating_point as solver
from piezolab.circuit.equations import Equations, dense
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.bias import bias
from piezolab.studies.hiss import noise
from piezolab.studies.kept import forget
from piezolab.studies.linear import CURVES, POINTS, LinearChain, at_rest
from piezolab.studies.response import response


@contextmanager
def counting(monkeypatch: pytest.MonkeyPatch) -> Iterator[Counter]:
    """Counts `calls` of eliminations, `members` of their batches, and `points` (eliminations at direct current)."""
    counts: Counter = Counter()
    with monkeypatch.context() as patch:
        for name in ("solve", "solve_adjoint"):
            patch.setattr(Equations, name, _counted(getattr(Equations, name), counts))
        plain = solver.dc_equations

        def at_direct_current(network):
            counts["points"] += 1
            return plain(network)

        patch.setattr(solver, "dc_equations", at_direct_current)
        yield counts


def _counted(plain, counts: Counter):
    def solve(self: Equations, *args, **options):
        counts["calls"] += 1
        counts["members"] += int(np.prod(dense(self)[0].shape[:-2]))
        return plain(self, *args, **options)

    return solve


CEILING = {  # calls, members
    "what_do_cable_and_input_change": (138 / 3, 16729 / 3),
    "who_makes_the_hiss_and_the_hum": (318 / 3, 55546 / 3),
    "how_loud_before_it_clips": (152 / 3, 4 * 453 + 152 / 3),  # the bass curve of each cure that is offered
    "how_do_i_build_it_and_check_it": (154 / 3, 17580 / 3),
}


@pytest.mark.parametrize("chapter", CEILING)
def test_a_chapter_at_rest_factorises_no_more_than_it_needs(chapter: str, monkeypatch: pytest.MonkeyPatch) -> None:
    page = importlib.import_module(f"piezolab.pages.{chapter}.chapter")
    page.make("")  # what is read from files is read
    forget()
    with counting(monkeypatch) as counts:
        made = page.make("")
    assert not made.state.trouble
    calls, members = CEILING[chapter]
    assert 0 < counts["calls"] <= calls, counts
    assert 0 < counts["members"] <= members, counts


#: Values that leave no trace at direct current, with something else than their default.
STILL = {
    "cable_m": 7.0, "cable_c": 150e-12, "lead_m": 1.0, "lead_c": 200e-12, "out_c": 1e-6, "bypass_c": 47e-6,
    "input_c": 300e-12, "input_r": 47e3, "bleed_r": 220e3, "pickup_c": 5e-9, "pickup_loss": 0.05, "play_v": 3.0,
    "hum_c": 2e-12, "shield_db": 10.0, "input_noise": 1e-8, "input_max": 0.5, "mains_hz": 60, "mains_v": 120,
    "loop_v": 1e-3, "ripple_v": 0.1, "other_current": 1e-3, "supply_c": 100e-6, "jfet_ciss": 20e-12,
    "jfet_corner": 500.0, "tuning": "E2", "cable_hum_c": 1e-12,
}  # fmt: skip
MOVING = {
    "supply_v": 8.0, "source_r": 2.2e3, "drain_r": 4.7e3, "gate_r": 1e6, "pickup_r": 1e7, "jfet_idss": 4e-3,
    "jfet_vgsoff": 1.5, "jfet_lambda": 0.05, "jfet_ig": 1e-7, "temp_c": 40.0, "supply_r": 1e3, "gate_stop": 10e3,
    "return": "divider", "clamp": "pair",
}  # fmt: skip


@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_only_what_counts_at_direct_current_is_solved_again(stage: str, monkeypatch: pytest.MonkeyPatch) -> None:
    chain = SignalChain(stage=stage)
    assert not (STILL.keys() | MOVING.keys()) - all_parameters().keys()
    forget()
    with counting(monkeypatch) as counts:
        first = bias(chain)
        for key, value in STILL.items():
            other = chain.but({key: value})
            assert other != chain, key
            assert bias(other).i_d == first.i_d, key
            assert counts["points"] == 1, key
        for solved, (key, value) in enumerate(MOVING.items(), 2):
            bias(chain.but({key: value}))
            assert counts["points"] == solved, key


@pytest.mark.parametrize("query", [{}, {"stage": "gain"}, {"stage": "direct"}, {"discs": "2px", "pad": (50.0, 10.0)}])
@pytest.mark.parametrize("cable", [3.0, np.array([0.0, 3.0, 30.0])])
def test_the_kept_point_is_that_of_the_whole_network(query: dict, cable: float | np.ndarray) -> None:
    network = LinearChain.of(SignalChain(query).values.but(cable_m=cable)).assembly.network
    ours, whole = at_rest(network), operating_point(network)
    for of in ("voltages", "branch_currents"):
        found, expected = getattr(ours, of), getattr(whole, of)
        assert found.keys() == expected.keys()
        for name in found:
            assert found[name].shape == expected[name].shape
            assert found[name] == pytest.approx(expected[name], rel=1e-12, abs=1e-18), name
    for name, q in whole.jfets.items():
        for field in q.__dataclass_fields__:
            assert getattr(ours.jfets[name], field) == pytest.approx(getattr(q, field), rel=1e-11, abs=1e-22), field


def test_a_curve_is_worked_out_once_for_its_grid(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = np.geomspace(20, 20e3, 50)
    forget()
    with counting(monkeypatch) as counts:
        for play_v in (1.0, 2.0):  # it has no say in the gain
            LinearChain.of(SignalChain(play_v=play_v).values).gain(grid)
            LinearChain.of(SignalChain(play_v=play_v).values).gain(grid.copy())
        assert counts["calls"] == 2  # a point and a curve
        LinearChain.of(SignalChain().values).gain(grid[:-1])
        assert counts["calls"] == 3
        LinearChain.of(SignalChain(out_c=1e-6).values).gain(grid)
        assert counts["calls"] == 4


def test_few_are_kept_and_a_batch_is_not() -> None:
    from piezolab.studies.kept import how_many

    forget()
    for ohm in np.linspace(1e3, 2e3, 3 * CURVES):
        LinearChain.of(SignalChain(source_r=float(ohm)).values).gain(1000.0)
    kept = how_many()
    assert kept["piezolab.studies.linear._curve"] == CURVES
    assert kept["piezolab.studies.linear._point"] == POINTS
    forget()
    LinearChain.of(SignalChain().values.but(source_r=np.array([1e3, 2e3]))).gain(1000.0)
    assert not any(how_many().values())


def test_nobody_can_bend_what_is_kept() -> None:
    linear = LinearChain.of(SignalChain().values)
    arrays = [linear.gain(np.array([100.0, 1e3])), linear.transistor.i_d, linear.point.voltages["source"]]
    arrays += [response(SignalChain()).gain, noise(SignalChain()).gain, linear.load_line.ohm]
    for array in arrays:
        assert not np.asarray(array).flags.writeable
    with pytest.raises(TypeError):
        linear.assembly.drive["E_p"] = 2.0


def test_what_was_asked_with_is_still_the_askers() -> None:
    grid = np.array([100.0, 1e3])
    found = response(SignalChain(), grid)
    grid[0] = 1.0
    assert found.frequency[0] == 100.0
