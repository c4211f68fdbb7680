"""Readings' scale, hearing, likelihood and information, each against something it does not share code with."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from piezolab.chain import SignalChain
from piezolab.studies.faults import FINE, WORDS, Check, FaultTable, Reading, diagnose, fault_table, hearing
from piezolab.studies.faults.information import _mutual, information, opening
from piezolab.studies.faults.likelihood import BANDWIDTH, Same, density, explain, reckon
from piezolab.studies.faults.next_readings import weighted_range
from piezolab.studies.faults.readings import ReadingError, checked_words, natural, over_range, scaled, shown, sigma
from piezolab.studies.metering.instrument import Meter

METER = Meter()


# -- the meter ---------------------------------------------------------------------------------------------------
def test_digits_of_a_three_and_a_half_digit_meter() -> None:
    """2000 counts: 0.1 mV on the 200 mV range, 10 mV on 20 V; 0.1, 1, 10 ohm ...: common practice, no source."""
    assert METER.volt_digit([0.1, 1.2, 9.0, 30.0]) == pytest.approx([1e-4, 1e-3, 1e-2, 1e-1])
    assert METER.ohm_digit([10, 150, 1500, 15e3, 1e6, 15e6]) == pytest.approx([0.1, 0.1, 1, 10, 1e3, 10e3])
    assert METER.error(9.0, 0.01) == pytest.approx(0.09 + 0.03)
    assert METER.shown(1.2345, 0.001) == pytest.approx(1.234)
    assert not Meter(ac_ranges=()).reads_ac
    with pytest.raises(ValueError, match="AC ranges"):
        Meter(ac_ranges=()).ac_digit(1.0)
    with pytest.raises(ValueError, match="meter's accuracy .*200 %.* is out of range; allowed is 0 to 20 %"):
        Meter(accuracy=2.0)


@given(st.floats(-500, 500), st.floats(0, 1.9e7), st.floats(0, 100))
def test_scale_and_back(volt: float, ohm: float, rms: float) -> None:
    assert natural("dc", scaled("dc", volt, METER), METER) == pytest.approx(volt, rel=1e-9, abs=1e-9)
    assert natural("ohm", scaled("ohm", ohm, METER), METER) == pytest.approx(ohm, rel=1e-6, abs=1e-6)
    assert natural("low", scaled("low", rms, METER), METER) == pytest.approx(rms, rel=1e-9, abs=1e-9)


def test_over_range_is_one_value() -> None:
    scale = scaled("ohm", np.array([1e3, 2.1e7, 1e9, np.inf]), METER)
    assert np.isinf(natural("ohm", scale, METER)).tolist() == [False, True, True, True]
    assert len(set(shown("ohm", scale, METER)[1:])) == 1 and np.isfinite(scale).all()


@pytest.mark.parametrize("kind, value", [("dc", 9.0), ("dc", 0.3), ("ohm", 3900.0), ("ohm", 4.7e6), ("high", 0.1)])
def test_sigma_is_the_meters_limit_moved_to_the_scale(kind: str, value: float) -> None:
    digit = {"dc": METER.volt_digit, "ohm": METER.ohm_digit}.get(kind, METER.ac_digit)(value)
    limit = float(METER.error(value, digit))
    width = float(scaled(kind, value + limit, METER) - scaled(kind, value - limit, METER)) / 2
    found = sigma(Reading(kind, "source", value), METER)
    assert 0.5 * width < found < math.hypot(0.8 * width, 0.07)
    assert sigma(Reading(kind, "source", value, 50 * digit), METER) > found, "a coarser display tells less"


# -- hearing -----------------------------------------------------------------------------------------------------
def test_what_is_said() -> None:
    surely = np.array([[0.0, 1.0]] + [[0.0, 0.0]] * (len(WORDS) - 1))  # "weak" holds for the second build

    def odds(*said: str) -> float:
        one, other = hearing.heard_likelihood(said, surely, np.full((len(hearing.KNOWN), 2), 0.5))
        return float(other / one)

    assert odds() == 1
    assert odds("weak") == pytest.approx(hearing.SAID / hearing.SAID_ANYWAY)
    assert odds(FINE) == pytest.approx(hearing.STILL_FINE["weak"])
    assert odds("hum") == pytest.approx(hearing.UNSAID), "not to mention it tells little"
    near = 1 - (1 - hearing.DEAD_ANYWAY) * (1 - hearing.CONFUSED)
    assert odds("dead") == pytest.approx(hearing.UNSAID * near / hearing.DEAD_ANYWAY), "one word is said for another"
    assert set(hearing.STILL_FINE) == set(WORDS) and set(hearing.NEAR) < set(WORDS)


def test_what_is_known_besides() -> None:
    surely = np.zeros((len(WORDS), 2))
    rows = {"worked": [0.02, 0.9], "knocked": [0.02, 0.7], "looked": [1.0, 0.2], "exchanged": [1.0, 0.0]}
    known = np.array([rows[word] for word in hearing.KNOWN])
    before, new = (hearing.heard_likelihood((word,), surely, known) for word in (hearing.WORKED, hearing.NEW))
    assert before + new == pytest.approx(1.0) and before[1] > 5 * before[0] and new[0] > 5 * new[1]
    both = hearing.heard_likelihood(("hum", hearing.NEW), surely, known)
    assert both == pytest.approx(new * hearing.heard_likelihood(("hum",), surely, known))
    knocked = hearing.heard_likelihood((hearing.KNOCKED,), surely, known)
    assert knocked == pytest.approx([0.02 + 0.96 * 0.02, 0.02 + 0.96 * 0.7])
    looked, exchanged = (hearing.heard_likelihood((w,), surely, known) for w in (hearing.LOOKED, hearing.EXCHANGED))
    assert looked == pytest.approx([1.0, 0.2]) and exchanged == pytest.approx([0.96, 0.04])


@pytest.mark.parametrize(("said", "other"), [((hearing.WORKED, hearing.NEW), "new"), (("weak", FINE), "fine")])
def test_words_that_exclude_each_other(said: tuple[str, str], other: str) -> None:
    with pytest.raises(ReadingError, match=f"^heard: '{other}' does not go with '{said[0]}'; allowed is"):
        checked_words(said)
    assert checked_words((FINE, hearing.NEW)) == (FINE, hearing.NEW)


def test_what_came_with_the_building_never_worked(table: FaultTable) -> None:
    never, before = (
        np.bincount(table.spot, explain(table, (), (word,)).weight) for word in (hearing.NEW, hearing.WORKED)
    )
    for spot, least in (("battery", 2.0), ("cable", 3.0)):
        assert before[table.spots.index(spot)] > least * never[table.spots.index(spot)]
    assert never[table.spots.index("part:R_S")] > 1.5 * before[table.spots.index("part:R_S")]


def test_what_faults_sound_like(table: FaultTable) -> None:
    keys = [fault.key for fault in table.hypotheses]

    def holds(key: str, word: str) -> float:
        return float(table.heard[WORDS.index(word), table.of_hypothesis == keys.index(key)].mean())

    for key, word in (
        ("disc:dead", "dead"), ("cable:open", "dead"), ("open:C_out", "dead"), ("missing_ground:jack.sleeve", "hum"),
        ("disc:open", "hum"), ("small:R_G", "healthy"), ("bridge:C_out", "thump"), ("switch:B1", "hot"),
        ("bridge:C_sup", "hot"), ("leak:Q1:supply", "distorted"), ("joint:C_out", "crackle"),
    ):  # fmt: skip
        if word != "healthy":
            assert holds(key, word) > max(0.3, 5 * holds("healthy", word) if word != "distorted" else 0), (key, word)
    assert holds("healthy", "dead") < 0.01 and holds("healthy", "weak") < 0.05 and holds("healthy", "hot") < 0.01


def test_thin_is_a_matter_of_the_lowest_string() -> None:
    """A tenth of 4.7 megohm on 15 nF cuts off at 1/(2 pi 0.47M 15n) = 23 Hz: thin on a low E1, not on a D3."""

    def thin(tuning: str) -> float:
        table = fault_table(SignalChain(tuning=tuning))
        n = [fault.key for fault in table.hypotheses].index("small:C_out")
        return float(table.heard[WORDS.index("thin"), table.of_hypothesis == n].mean())

    assert thin("E1") > thin("D3-A3-D4")


# -- likelihood ----------------------------------------------------------------------------------------------------
@given(st.floats(-3, 3), st.floats(0.01, 0.5), st.floats(0, 0.5))
def test_density_is_normal(y: float, spread: float, width: float) -> None:
    same = Same("dc", (0,), 0, y, spread, False, 0.05, 0.001, "")
    value, wide = np.array([0.0, 1.0]), np.full(2, width)
    assert density(same, value, wide) == pytest.approx(stats.norm.pdf(y, value, math.hypot(spread, width)), rel=1e-4)
    over = Same("ohm", (0,), 0, y, spread, True, 0.05, 0.001, "")
    tail = stats.norm.sf(y, value, math.hypot(spread, width))
    assert density(over, value, wide) == pytest.approx(tail, abs=0.011)


def test_posterior_is_bayes_rule_by_hand(table: FaultTable) -> None:
    """One reading: prior of a build times its mixture of normal laws, over the sum of all, written out once more."""
    reading = Reading("ohm", "source", 3900.0)
    m = table.index(reading.check)
    y, s = float(scaled("ohm", 3900.0, table.meter)), sigma(reading, table.meter)

    def law(row: int) -> np.ndarray:
        return stats.norm.pdf(y, table.value[row], np.hypot(s, BANDWIDTH * table.width[row]))

    beside = [table.index(Check("ohm", place)) for place in ("supply", "jack")]
    limits = table.limits
    by_hand = table.weight * (
        (1 - limits.slip - limits.stray / 15) * law(m)
        + limits.slip * np.mean([law(n) for n in beside], axis=0)
        + limits.stray / 15
    )
    found = explain(table, [reading], ())
    assert found.weight == pytest.approx(by_hand / by_hand.sum(), rel=1e-2, abs=1e-9)
    assert found.evidence == pytest.approx(by_hand.sum(), rel=1e-2)


def test_neighbours_are_the_places_beside(table: FaultTable) -> None:
    beside = {
        check.key: {table.checks[n].place for n in table.neighbours[m]}
        for m, check in enumerate(table.checks[:-1])
    }
    assert beside["dc:source"] == {"supply", "jack"} and beside["dc:clip"] == set()
    assert beside["ohm:pickup"] == {"supply"} and beside["ohm:plug"] == set() and beside["ohm:cable"] == set()
    assert reckon(table, [Reading("ohm", "cable", 0.1)]).elsewhere[0].max() < 1e-3


@pytest.mark.parametrize("shown, density", [(0.1, 1 / 15), (math.inf, 0.5)], ids=["value", "over range"])
@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_a_repeated_reading_is_a_stray_one_ever_less_likely(
    table: FaultTable, shown: float, density: float, count: int
) -> None:
    """As often by chance as independent chances: their product. A cable has no neighbour on which one could slip."""
    reckoned = reckon(table, [Reading("ohm", "cable", shown)] * count)
    assert reckoned.elsewhere[0] == pytest.approx(np.full(len(table.weight), table.limits.stray**count * density))
    found = explain(table, [Reading("ohm", "cable", shown)] * count, ())
    by_hand = table.limits.stray**count * density * np.sum(found.weight / reckoned.likelihoods[0])
    assert len(reckoned.groups) == 1 and found.stray == pytest.approx([by_hand] * count)


# -- information -------------------------------------------------------------------------------------------------
@given(st.lists(st.lists(st.floats(0.01, 1), min_size=3, max_size=3), min_size=2, max_size=4))
def test_mutual_information_is_a_difference_of_entropies(rows: list[list[float]]) -> None:
    joint = np.array(rows) / np.sum(rows)
    entropy = stats.entropy(joint.sum(axis=1), base=2) + stats.entropy(joint.sum(axis=0), base=2)
    assert _mutual(joint) == pytest.approx(entropy - stats.entropy(joint.ravel(), base=2), abs=1e-9)


def test_information_is_bounded_and_finds_the_obvious(table: FaultTable) -> None:
    every = list(range(len(table.checks)))
    bits = information(table, table.weight, every)
    share = np.bincount(table.spot, table.weight)
    assert (bits >= 0).all() and bits.max() <= stats.entropy(share, base=2)
    keys = [fault.key for fault in table.hypotheses]
    two = np.isin(table.of_hypothesis, [keys.index("cable:open"), keys.index("healthy")])
    most = stats.entropy(np.bincount(table.spot[two], table.weight[two]), base=2)
    bits = information(table, np.where(two, table.weight, 0), every)
    for place, tells in (("cable", True), ("plug", True), ("source", False), ("jack", False), ("clip", False)):
        assert (bits[table.index(Check("ohm", place))] > 0.5 * most) == tells, "the cable is unplugged for the lanes"


def test_a_reading_tells_no_more_than_what_it_shows(table: FaultTable) -> None:
    """Ohms of a cable show nothing but a cable, and no more bits about it than are open: the other route."""
    readings = [Reading("ohm", "pickup", 4.56e6), Reading("ohm", "clip", 7.57e3), Reading("dc", "source", 1.1)]
    for words in (("crackle", "new", "looked", "exchanged"), ("fine", "worked", "looked", "exchanged")):
        weight = explain(table, readings, words).weight
        cable = float(weight[table.spot == table.spots.index("cable")].sum())
        bits = information(table, weight, [table.index(Check("ohm", "cable"))])[0]
        assert 0 < bits <= stats.entropy([cable, 1 - cable], base=2) + 0.005


def test_how_often_a_reading_opens_the_way_to_the_battery(table: FaultTable) -> None:
    """The other route: builds drawn from what is believed are read, and what is then believed is counted."""
    first = [Reading("ohm", "clip", 16e3)]
    believed, limit = explain(table, first, ()).unheard, table.limits.short_share
    assert believed[table.dangerous].sum() > limit, "one reading at the clip leaves it open"
    checks = [Check("ohm", place) for place in ("supply", "pickup")]
    shares = opening(table, believed, [table.index(check) for check in checks], limit)
    rng, by_hand = np.random.default_rng(12), []
    for check in checks:
        opened = 0
        for build in rng.choice(len(believed), 80, p=believed / believed.sum()):
            value = float(natural("ohm", table.value[table.index(check), build], METER)) * rng.normal(1.0, 0.005)
            then = explain(table, [*first, Reading("ohm", check.place, value)], ()).unheard
            opened += then[table.dangerous].sum() <= limit
        by_hand.append(opened / 80)
    assert shares == pytest.approx(by_hand, abs=0.15) and shares[0] > 0.6 > 0.2 > shares[1]


def test_the_reading_that_opens_the_way_comes_before_one_that_only_tells(table: FaultTable) -> None:
    found = diagnose(table, [Reading("ohm", "clip", 16e3)], ("dead",))
    assert found.unpowered_only and found.next is not None
    assert found.next.check == Check("ohm", "supply") and found.next.reason == "short"
    assert max(found.others, key=lambda step: step.bits).bits > found.next.bits


def test_weighted_range() -> None:
    value = np.arange(101.0)
    low, high = weighted_range(value, np.ones(101))
    assert low == pytest.approx(5, abs=1) and high == pytest.approx(95, abs=1)
    assert weighted_range(value, (value == 40).astype(float)) == (40.0, 40.0)


def test_over_range_of_a_meter() -> None:
    assert over_range(Meter(ohm_max=40e6)) > over_range(METER)
