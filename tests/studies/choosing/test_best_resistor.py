"""The backward solver against trying every preferred value."""

import itertools
import os

import numpy as np
import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.quantity import QuantityError, preferred_between
from piezolab.studies.bias import bias
from piezolab.studies.choosing.best_resistor import (
    CURRENT,
    EVEN_STEP_DB,
    GAIN,
    SATURATION,
    ResistorChoice,
    best_resistor,
)
from piezolab.studies.choosing.improvement import EVEN, SOURCE, improvement
from piezolab.studies.judging.judgement import Judgement
from piezolab.studies.judging.wish import Wish, judged_figures, margins, no_worse
from piezolab.studies.levels import levels_of
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import population
from piezolab.studies.swing import swing

CASES = 300 if os.environ.get("PIEZOLAB_LONG") else 30


def tried(chain: SignalChain, least_db: float, values: list[tuple[float, float | None]]):
    """Each value by the plain road, at all voltages: (holds every requirement, steps of half a decibel of room missed,
    imbalance, headroom, source voltage)."""
    kind = catalogue.batteries()[chain.supply]
    supplies = np.array([kind.fresh_v, *np.linspace(kind.fresh_v, kind.end_v, 5)[1:], chain.supply_v])
    changes = {"source_r": np.array([ohm for ohm, _ in values])[:, None]}
    if values[0][1] is not None:
        changes["drain_r"] = np.array([drain for _, drain in values])[:, None]
    linear = LinearChain.of(chain.values.but(supply_v=supplies, **changes))
    q, edges = linear.transistor, swing(linear)
    gain = np.abs(linear.gain(np.array([1000.0])))[..., 0]
    source_v = linear.point.voltage("source")[:, -1]
    least, most = 100e-6, 1e-3
    for k in range(len(values)):
        holds = np.all((q.v_ds[k] >= q.v_ds_sat[k]) & (q.v_ds_sat[k] > 0))
        holds = holds and not np.any(q.gate_conducts[k] | (q.v_gs[k] > 0.026))
        holds = holds and np.all((q.i_d[k] >= least) & (q.i_d[k] <= most)) and np.all(gain[k] >= 10 ** (least_db / 20))
        if not holds:
            yield False, np.inf, np.inf, 0.0, np.nan
            continue
        ends = [0, 4]
        imbalance = np.max(np.abs(20 * np.log10(edges.triode[k][ends] / -edges.cut_off[k][ends])))
        headroom = min(edges.up[k][ends].min(), edges.down[k][ends].min())
        one = {key: column[k] for key, column in changes.items()}
        rooms = levels_of(chain.values.but(supply_v=supplies[ends], **one)).input_headroom_db  # the judgement's own
        yield True, np.round(2 * max(0.0, -rooms.min())), float(imbalance), float(headroom), float(source_v[k])


def random_case(rng: np.random.Generator) -> tuple[SignalChain, Wish, ResistorChoice]:
    stage = rng.choice(["follower", "gain"], p=[0.8, 0.2])
    chain = SignalChain(
        {
            "stage": str(stage),
            "jfet_idss": float(np.exp(rng.uniform(np.log(0.4e-3), np.log(20e-3)))),
            "jfet_vgsoff": float(np.exp(rng.uniform(np.log(0.4), np.log(7.0)))),
            "jfet_lambda": float(rng.uniform(0.0, 0.05)),
            "return": str(rng.choice(["ground", "divider"], p=[0.7, 0.3])),
            "supply": str(rng.choice(["alkaline-9v", "nimh-9v", "aa-3"])),
            "play_v": float(rng.choice([0.05, 0.3, 1.0])),
        }
    )
    choice = ResistorChoice(
        source_v=float(rng.uniform(0.3, 3.0)) if rng.random() < 0.4 else None,
        series="E6",
        source_range=(470.0, 22e3),
        drain_range=(470.0, 10e3),
    )
    return chain, Wish(gain_db=6.0 if stage == "gain" and rng.random() < 0.5 else None), choice


def test_answer_holds_every_wish_and_no_preferred_value_does_better() -> None:
    rng = np.random.default_rng(11)
    feasible = 0
    for _ in range(CASES):
        chain, wish, choice = random_case(rng)
        found = best_resistor(chain, wish, choice)
        drains = preferred_between(*choice.drain_range, choice.series) if chain.stage == "gain" else (None,)
        values = list(itertools.product(preferred_between(*choice.source_range, choice.series), drains))
        answers = dict(zip(values, tried(chain, -300.0 if wish.gain_db is None else wish.gain_db, values), strict=True))
        good = {value: answer for value, answer in answers.items() if answer[0]}
        assert found.feasible == bool(good)
        if not good:
            assert found.missed
            continue
        feasible += 1
        chosen = (found.changes["source_r"], found.changes.get("drain_r"))
        assert chosen in good
        _, miss, imbalance, headroom, source_v = good[chosen]
        assert found.imbalance_db == pytest.approx(imbalance, abs=1e-6)
        assert found.headroom_v == pytest.approx(headroom, rel=1e-6)
        assert found.source_v == pytest.approx(source_v, rel=1e-6)
        for _, others, other, room, source in good.values():
            if choice.source_v is None:
                more_even = np.ceil(other / EVEN_STEP_DB) < np.ceil(imbalance / EVEN_STEP_DB)
                alike = np.ceil(other / EVEN_STEP_DB) == np.ceil(imbalance / EVEN_STEP_DB)
                assert others >= miss
                assert others > miss or (not more_even and (not alike or room <= headroom * (1 + 1e-9)))
            else:
                assert abs(np.log(source / choice.source_v)) >= abs(np.log(source_v / choice.source_v)) - 1e-9
    assert 0.3 * CASES < feasible < 0.95 * CASES


def test_applying_the_answer_gives_what_was_promised() -> None:
    chain = SignalChain(stage="gain")
    found = best_resistor(chain, Wish(gain_db=9.5))
    built = chain.but(found.changes)
    assert found.feasible and bias(built).region == "saturation"
    assert float(bias(built).v_s) == pytest.approx(found.source_v)
    spent = built.but(supply_v=6.0)
    assert bias(spent).region == "saturation" and bias(spent).gate == "ok"
    assert swing(LinearChain.of(spent.values)).headroom >= found.headroom_v * (1 - 1e-9)


def test_evenness_is_not_bought_with_gate_conduction() -> None:
    """A J201 could be made even by resting it so near to 0 V that its gate conducts as soon as its channel cuts off."""
    chain = SignalChain(jfet="J201")
    found = best_resistor(chain)
    near = swing(LinearChain.of(chain.but(source_r=120.0, supply_v=6.0).values))
    assert near.imbalance_db < 1.0 and near.line_imbalance_db > 10.0
    assert found.changes["source_r"] > 1e3 and found.headroom_v > float(near.headroom)


def test_wanted_source_voltage_is_met_to_within_half_a_step_of_the_series() -> None:
    for series, step in (("E6", 10 ** (1 / 6)), ("E24", 10 ** (1 / 24)), ("E96", 10 ** (1 / 96))):
        found = best_resistor(SignalChain(), choice=ResistorChoice(source_v=0.95, series=series))
        assert abs(np.log(found.source_v / 0.95)) < np.log(step)
        assert found.changes["source_r"] in found.source_r


def test_why_nothing_works() -> None:
    half = SignalChain({"return": "divider", "jfet": "2N5459"})
    found = best_resistor(half)
    assert not found.feasible and found.missed == (SATURATION,) and found.share == 0.0
    too_much = best_resistor(SignalChain(stage="gain"), Wish(gain_db=49.5))
    assert too_much.missed == (GAIN,)
    hungry = best_resistor(SignalChain(jfet="J201"), choice=ResistorChoice(rest_a=(2e-3, 5e-3)))
    assert hungry.missed == (CURRENT,)
    # either can be had alone: the gain with less current, the current with less gain; the answer keeps saturation
    chain = SignalChain(stage="gain", jfet="BF245C")
    both = best_resistor(chain, Wish(gain_db=9.5))
    assert not both.feasible and set(both.missed) == {CURRENT, GAIN}
    assert bias(chain.but(both.changes).but(supply_v=6.0)).region == "saturation"


def test_for_a_whole_type_the_answer_suits_its_extremes() -> None:
    chain = SignalChain()
    found = best_resistor(chain, choice=ResistorChoice(whole_type=True))
    assert found.feasible and found.share == 1.0
    parts = population(chain.jfet)
    for percent in (1, 50, 99):
        at = int(np.argsort(-parts.vgsoff)[int(percent / 100 * (len(parts.vgsoff) - 1))])
        built = chain.but(found.changes).but(
            jfet_idss=float(parts.idss[at]), jfet_vds=parts.vds, jfet_vgsoff=float(parts.vgsoff[at])
        )
        for v in (9.4, 6.0):
            assert bias(built.but(supply_v=v)).region == "saturation"


def test_the_nearest_miss_suits_the_largest_share() -> None:
    found = best_resistor(SignalChain(stage="gain", jfet="2N3819"), Wish(gain_db=9.5),
                          ResistorChoice(whole_type=True, series="E12"))  # fmt: skip
    assert not found.feasible and 0 < found.share < 1
    assert found.share == pytest.approx(float(found.shares.max()))
    lenient = best_resistor(
        SignalChain(stage="gain", jfet="2N3819"), Wish(gain_db=9.5),
        ResistorChoice(whole_type=True, series="E12", share=found.share),
    )
    assert lenient.feasible and lenient.changes == found.changes


def test_measured_transistor_is_the_whole_type() -> None:
    chain = SignalChain(jfet_idss=5e-3, jfet_vgsoff=2.0)
    one, many = (best_resistor(chain, choice=ResistorChoice(whole_type=whole)) for whole in (False, True))
    assert one.changes == many.changes and one.headroom_v == pytest.approx(many.headroom_v)


def test_limits() -> None:
    assert best_resistor(SignalChain(stage="direct")) is None
    with pytest.raises(QuantityError, match="E7"):
        best_resistor(SignalChain(), choice=ResistorChoice(series="E7"))
    with pytest.raises(QuantityError, match="not a range"):
        best_resistor(SignalChain(), choice=ResistorChoice(source_range=(1e3, 1e2)))
    adapter = best_resistor(SignalChain(supply="adapter", supply_v=12.0))
    assert adapter.feasible


@pytest.mark.parametrize(
    "link", [{}, {"stage": "gain", "play_v": 0.1}, {"jfet": "2N3819", "stage": "gain"}, {"jfet": "J201"}]
)
def test_what_is_offered_brings_what_was_asked_for(link: dict) -> None:
    """Nothing that is in the chain already, or spoils it, brings anything; what brings something, once it is in, does
    not bring it again."""
    chain = SignalChain(link)
    wish = Wish(gain_db=9.5) if chain.topology.inverts else Wish()
    for choice in (ResistorChoice(series="E12"), ResistorChoice(series="E12", source_v=0.9)):
        found = best_resistor(chain, wish, choice)
        then = improvement(chain, found, wish, choice)
        assert then.before.source_r == [chain.source_r]
        built = chain.but(found.changes)
        if then.brings:
            has, had = (margins(judged_figures(Judgement(each)), wish) for each in (built, chain))
            assert no_worse(has, had)
            nearer = abs(found.source_v / 0.9 - 1) < abs(then.before.source_v / 0.9 - 1)
            assert nearer or SOURCE not in then.brings
            assert found.imbalance_db < then.before.imbalance_db or EVEN not in then.brings
        assert improvement(built, best_resistor(built, wish, choice), wish, choice).brings == ()
