"""The diagnosis: worked cases, safety, any subset in any order, contradictions without a crash."""

import itertools
import math
import os

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.studies.faults import (
    KINDS,
    TONES,
    WORDS,
    Diagnosis,
    FaultTable,
    Meter,
    Reading,
    ReadingError,
    diagnose,
    fault_table,
    predicted,
)  # fmt: skip
from piezolab.studies.faults.bands import seen_shares, unseen
from piezolab.studies.faults.knowledge import knowledge
from tests.studies.faults.trial import examine, world

LIMITS = knowledge().limits


def typical(table: FaultTable, key: str, *checks: str) -> list[Reading]:
    """The middle reading of a fault's builds at some checks."""
    expected = predicted(table, key)
    return [Reading(*check.split(":"), expected[check][1]) for check in checks]


def sums_to_one(found: Diagnosis) -> None:
    """Probabilities are probabilities."""
    assert sum(spot.probability for spot in found.spots) == pytest.approx(1)
    assert sum(fault.probability for spot in found.spots for fault in spot.faults) == pytest.approx(1)
    assert all(0 <= share <= 1 for share in (found.two, found.short)) and np.isfinite(found.two)
    assert [spot.probability for spot in found.spots] == sorted((s.probability for s in found.spots), reverse=True)


def test_nothing_entered_is_the_prior(table: FaultTable) -> None:
    found = diagnose(table)
    sums_to_one(found)
    assert found.probability("healthy") == pytest.approx(LIMITS.healthy)
    assert found.two < 0.1 and not found.found and found.unpowered_only and not found.stop


def test_swapped_source_resistor_and_output_capacitor(table: FaultTable) -> None:
    """Three readings, one of them DC at the output. By hand: the source resistor joins source and jack, so the source
    reads 3.9 kohm + 100 kohm to ground, and all but 4 % of the source's voltage stands on the jack."""
    expected = predicted(table, "swapped:R_S+C_out")
    assert expected["ohm:source"][1] == pytest.approx(103.9e3, rel=0.02)
    load = 1 / (1 / 100e3 + 1 / 1e6)
    ratio = expected["dc:jack"][1] / expected["dc:source"][1]
    assert ratio == pytest.approx(load / (load + 3.9e3), rel=0.02)
    for checks in (("dc:jack", "dc:source", "ohm:source"), ("ohm:supply", "dc:jack", "dc:source")):
        readings = typical(table, "swapped:R_S+C_out", *checks)
        for heard in ((), ("weak",), ("distorted", "thin")):
            found = diagnose(table, readings, heard)
            assert found.spots[0].faults[0].key == "swapped:R_S+C_out"
            assert found.spots[0].probability > 0.85


@pytest.mark.parametrize(
    "key, checks",
    [
        ("open:R_S", ("ohm:clip", "ohm:source", "dc:supply")),
        ("bridge:C_sup", ("ohm:clip", "ohm:supply")),
        ("switch:B1", ("ohm:clip", "ohm:supply")),
        ("reversed_battery:B1", ("ohm:clip", "dc:clip", "dc:supply")),
        ("flat:B1", ("dc:clip", "dc:supply", "ohm:clip")),
        ("swapped:R_G+R_bleed", ("ohm:pickup", "ohm:jack")),
        ("cable:open", ("ohm:plug", "ohm:cable")),
        ("jack:open", ("ohm:plug", "ohm:cable", "ohm:jack", "dc:source")),
        ("large:R_bleed", ("ohm:jack", "ohm:plug")),
    ],
)
def test_plain_cases(table: FaultTable, key: str, checks: tuple[str, ...]) -> None:
    spot = next(fault.spot for fault in table.hypotheses if fault.key == key)
    found = diagnose(table, typical(table, key, *checks))
    assert found.spots[0].spot == spot and found.spots[0].probability > 0.8
    assert not found.two_suspected


def test_order_does_not_matter(table: FaultTable) -> None:
    readings = typical(table, "open:C_out", "ohm:clip", "ohm:jack", "high:source", "high:jack")
    first = diagnose(table, readings)
    for order in itertools.islice(itertools.permutations(readings), 0, 24, 5):
        found = diagnose(table, order)
        assert found.probability("part:C_out") == pytest.approx(first.probability("part:C_out"), rel=1e-6)
        assert found.two == pytest.approx(first.two, rel=1e-4)


def test_the_same_reading_twice_only_makes_a_slip_unlikelier(table: FaultTable) -> None:
    odd = Reading("ohm", "source", 39e3)
    once, twice = diagnose(table, [odd]), diagnose(table, [odd, odd])
    assert twice.probability("part:R_S") > once.probability("part:R_S")
    good = typical(table, "healthy", "dc:source")
    again = diagnose(table, good * 4)
    assert again.probability("healthy") == pytest.approx(diagnose(table, good).probability("healthy"), rel=0.15)


# -- safety ------------------------------------------------------------------------------------------------------
def dangerous(table: FaultTable) -> list[str]:
    """Faults of which some build heats up."""
    share = np.bincount(table.of_hypothesis, table.dangerous, len(table.hypotheses))
    return [fault.key for fault, some in zip(table.hypotheses, share, strict=True) if some > 0]


@pytest.mark.parametrize("link", [{}, {"stage": "gain"}, {"return": "divider", "supply_r": 100.0}])
def test_shorts_and_switch_are_never_powered_first(link: dict[str, object]) -> None:
    """Whatever of the words that such builds call for is said, also nothing."""
    table = fault_table(SignalChain(link))
    keys = dangerous(table)
    assert {"switch:B1", "bridge:C_sup"} <= set(keys)
    every: dict[tuple[str, ...], str] = {}  # what may be said, each once
    for key in keys:
        n = [fault.key for fault in table.hypotheses].index(key)
        surely = table.heard[:, (table.of_hypothesis == n) & table.dangerous].mean(axis=1)
        said = [word for word, p in zip(WORDS, surely, strict=True) if p > 0.2]
        for size in range(len(said) + 1):
            every |= dict.fromkeys(itertools.combinations(said, size), key)
    assert len(every) > 3
    for words, key in every.items():
        found = diagnose(table, (), words)
        assert found.next is not None and not found.next.powered, (key, words)
        assert found.unpowered_only


def test_powered_readings_only_once_a_short_is_unlikely(table: FaultTable) -> None:
    """On the lowest range that shows a number the diode hides no short from the clip. On a high one, with nearly no
    current, it does: there the supply lane has to be read too. That lane alone tells nothing of a switch across the
    battery."""
    clip, lane = typical(table, "healthy", "ohm:clip"), typical(table, "healthy", "ohm:supply")
    assert not diagnose(table, clip, ("weak", "dead")).unpowered_only
    assert diagnose(table, lane, ("weak", "dead")).unpowered_only
    before, after = diagnose(table, (), ("weak", "dead")), diagnose(table, clip + lane, ("weak", "dead"))
    assert before.unpowered_only and not any(step.powered for step in (before.next, *before.others))
    assert after.short < LIMITS.short_share and not after.unpowered_only
    assert any(step.powered for step in (after.next, *after.others))
    for high in (17e3, 25e3, 40e3):
        alone = diagnose(table, [Reading("ohm", "clip", high)], ("weak", "dead"))
        assert alone.unpowered_only and not alone.next.powered, high


def test_a_board_behind_an_open_clip_is_read_before_it_is_fed(table: FaultTable) -> None:
    """Over range at the clip says that nothing arrives there, not that nothing is shorted behind it."""
    over, lane = Reading("ohm", "clip", math.inf), typical(table, "healthy", "ohm:supply")
    for heard in ((), ("dead",), ("fine",)):
        found = diagnose(table, [over], heard)
        assert found.unpowered_only and found.next.check.key == "ohm:supply" and found.next.reason == "short"
        assert not any(step.powered for step in found.others)
    once = diagnose(table, [over, *lane], ("dead",))  # the points may not have touched: a switch across the battery
    assert once.unpowered_only and not once.next.powered
    assert not diagnose(table, [over, *lane, over], ("dead",)).unpowered_only
    again = diagnose(table, [over, *typical(table, "healthy", "ohm:clip")], ("dead",))
    assert not again.unpowered_only, "the points had not touched"


def test_hardly_a_short_meets_the_battery(table: FaultTable) -> None:
    """Builds of the other world that would heat up, read as asked: none is to be fed before the short was seen."""
    made = world(table.chain, table, 1500 if os.environ.get("PIEZOLAB_LONG") else 400, 1, seed=31)
    hot = np.flatnonzero(np.abs(made.found.battery_w) > LIMITS.hot_w)
    fed = 0
    for build in hot:
        course = examine(made, int(build), 2)
        fed += any(step.next is not None and step.next.powered for step in course.diagnoses)
    assert len(hot) >= 8 and fed <= 0.01 * len(hot)


def test_a_tone_has_to_tell_more_than_a_touch_of_the_probe(table: FaultTable) -> None:
    """Swapped parts: the tone at the source would tell as much as volts that only need a probe."""
    found = diagnose(table, typical(table, "swapped:R_S+C_out", "ohm:clip"))
    bits = {step.check.kind: step.bits for step in reversed((found.next, *found.others))}
    assert found.next.check.kind in ("ohm", "dc") or found.next.bits >= 1.25 * max(bits["dc"], bits["ohm"])
    worth = [step.bits / {"low": 1.25, "high": 1.25, "tone": 1.1}.get(step.check.kind, 1.0) for step in
             (found.next, *found.others)]  # fmt: skip
    assert worth == sorted(worth, reverse=True)


def test_what_clears_a_short_comes_first(table: FaultTable) -> None:
    found = diagnose(table, (), ("dead",))
    assert found.next.check.key in ("ohm:clip", "ohm:supply")


def test_hot_ends_the_powered_list_whatever_was_read(table: FaultTable) -> None:
    clean = typical(table, "healthy", "ohm:clip", "ohm:supply", "dc:supply")
    for readings in ([], clean):
        found = diagnose(table, readings, ("hot",))
        assert found.stop and found.unpowered_only
        assert not any(step.powered for step in (found.next, *found.others) if step)
    shorted = diagnose(table, [Reading("ohm", "clip", 0.1)])
    assert shorted.stop and shorted.short > 0.5


def test_a_probable_short_with_nothing_new_to_read_is_read_again(table: FaultTable) -> None:
    ohms = [check for check in table.checks if check.kind == "ohm"]
    readings = [Reading("ohm", check.place, predicted(table, "healthy")[check.key][1]) for check in ohms]
    readings = [r for r in readings if r.place not in ("clip", "supply")]
    readings += [Reading("ohm", "clip", 0.2), Reading("ohm", "supply", 4000.0)]
    found = diagnose(table, readings, ("dead",))
    assert found.unpowered_only and (found.next is None or not found.next.powered)


# -- bad input ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "reading, words",
    [
        (Reading("dc", "moon", 1.0), "'moon' cannot be read"),
        (Reading("watts", "source", 1.0), "no kind of reading"),
        (Reading("dc", "source", float("nan")), "no number"),
        (Reading("dc", "source", "much"), "no number"),
        (Reading("dc", "source", True), "no number"),
        (Reading("dc", "source", float("inf")), "out of range"),
        (Reading("dc", "source", 5000.0), "out of range; allowed is -1000 to 1000 V"),
        (Reading("ohm", "source", -1.0), "allowed is 0 ohm or more"),
        (Reading("high", "jack", -0.1), "allowed is 0 to 1000 V"),
        (Reading("tone", "input", "loud"), "none, weak, normal, distorted"),
        (Reading("dc", "source", 1.0, 0.0), "last place"),
    ],
)
def test_an_impossible_reading_is_one_sentence(table: FaultTable, reading: Reading, words: str) -> None:
    with pytest.raises(ReadingError, match=words.replace(".", r"\.")) as error:
        diagnose(table, [reading])
    assert str(error.value).count("\n") == 0 and str(error.value).endswith(".")


def test_words_that_are_not_known(table: FaultTable) -> None:
    with pytest.raises(ReadingError, match="'loud' is not known"):
        diagnose(table, (), ("loud",))
    with pytest.raises(ReadingError, match="does not go with 'fine'"):
        diagnose(table, (), ("fine", "hum"))


_SAID = (*WORDS, "looked", "exchanged")
_OHM = st.one_of(st.floats(0, 3e7), st.just(float("inf")), st.just(0.0))
_PLACES = ("clip", "pickup", "supply", "source", "jack")
_READINGS = st.lists(
    st.one_of(
        st.builds(Reading, st.just("ohm"), st.sampled_from((*_PLACES, "plug", "cable")), _OHM),
        st.builds(Reading, st.just("dc"), st.sampled_from(_PLACES), st.floats(-1000, 1000)),
        st.builds(
            Reading, st.sampled_from(("low", "high")), st.sampled_from((*_PLACES[1:], "load")), st.floats(0, 1000)
        ),
        st.builds(Reading, st.just("tone"), st.just("input"), st.sampled_from(TONES)),
    ),
    max_size=12,
)


@settings(max_examples=60)
@given(readings=_READINGS, heard=st.lists(st.sampled_from(_SAID), max_size=4), kinds=st.sets(st.sampled_from(KINDS)))
def test_any_readings_give_an_answer(readings: list[Reading], heard: list[str], kinds: set[str]) -> None:
    """Impossible together, contradictory, absurd: probabilities all the same, and safety holds."""
    found = diagnose(fault_table(SignalChain()), readings, heard, kinds)
    sums_to_one(found)
    if found.unpowered_only:
        assert not any(step.powered for step in (found.next, *found.others) if step)
        assert "exchanged" not in dict(found.to_try)
    assert all(step.check.kind in kinds for step in (found.next, *found.others) if step)
    assert all(0 <= k < len(readings) and 0 < p <= 1.0001 for k, p in found.doubtful)


def test_contradictions_are_said(table: FaultTable) -> None:
    absurd = diagnose(table, [*typical(table, "healthy", "ohm:clip", "dc:supply"), Reading("dc", "source", -9.0)])
    assert 2 in absurd.unexplained
    slipped = diagnose(
        table,
        [*typical(table, "healthy", "ohm:clip", "dc:supply", "high:jack", "ohm:source"),
         Reading("dc", "source", predicted(table, "healthy")["dc:supply"][1])],
    )  # fmt: skip
    assert slipped.doubtful and slipped.doubtful[-1][0] == 4, "the supply's voltage, read as the source's"
    assert any(step.again for step in (slipped.next, *slipped.others))


def test_two_faults_are_suspected(table: FaultTable) -> None:
    one = typical(table, "open:R_bleed", "ohm:jack", "ohm:plug")
    other = typical(table, "large:R_S", "ohm:source", "ohm:clip", "ohm:supply")
    both = diagnose(table, [*one, *other])
    assert both.two_suspected and {"part:R_bleed", "part:R_S"} <= {spot for spot, _ in both.suspects[:3]}
    assert not diagnose(table, one).two_suspected and not diagnose(table, other).two_suspected


def test_a_second_fault_beside_a_clear_first_one_is_looked_for(table: FaultTable) -> None:
    """One spot leads, yet two are suspected: what is proposed is what tells whether there is a second."""
    readings = [*typical(table, "open:R_S", "ohm:source", "ohm:clip", "dc:source", "ohm:supply"),
                *typical(table, "large:R_bleed", "ohm:jack")]  # fmt: skip
    found = diagnose(table, readings)
    assert found.two_suspected and not found.found and found.spots[0].probability > LIMITS.clear_share
    assert found.next is not None and found.next.reason in ("second", "again")


def test_what_needs_no_meter_is_proposed(table: FaultTable) -> None:
    """A look always may be had; another battery only where one may go in."""
    first = diagnose(table)
    seen = sum(fault.probability * knowledge().seen[fault.kind] for spot in first.spots for fault in spot.faults
               if fault.spot != "cable")  # fmt: skip
    assert first.to_try == (("looked", pytest.approx(seen, rel=1e-5)),)
    looked = diagnose(table, (), ("looked",))
    assert not looked.to_try and looked.unpowered_only, "a look clears no short"
    assert looked.probability("part:D1") < 0.5 * first.probability("part:D1")
    assert looked.probability("cable") > first.probability("cable")
    readings = typical(table, "cable:open", "ohm:clip", "ohm:pickup", "dc:source")
    found = diagnose(table, readings, ("dead", "looked"))
    assert not found.unpowered_only
    assert found.to_try == (("exchanged", pytest.approx(found.probability("cable"), abs=0.05)),)
    after = diagnose(table, readings, ("dead", "looked", "exchanged"))
    assert not after.to_try and after.probability("cable") < 0.2 * found.probability("cable")


def test_what_no_reading_shows_is_listed(table: FaultTable) -> None:
    hidden = unseen(table)
    assert {"open:C_sup", "large:C_sup", "pins:Q1:sgd", "disc:dead"} <= set(hidden)
    assert not {"open:R_S", "flat:B1", "cable:open", "switch:B1"} & set(hidden)
    assert diagnose(table).unseen == hidden
    assert seen_shares(table)[0] < 0.1


def test_only_what_the_meter_can_read_is_proposed(table: FaultTable) -> None:
    blind = fault_table(SignalChain(), Meter(ac_ranges=()))
    found = diagnose(blind, typical(blind, "healthy", "ohm:clip"))
    assert not any(step.check.kind in ("low", "high") for step in (found.next, *found.others))
    found = diagnose(table, typical(table, "healthy", "ohm:clip", "ohm:supply"))
    proposed = {step.check.key for step in (found.next, *found.others)}
    assert "high:jack" in proposed and "high:supply" not in proposed, "no tone to speak of on the supply"
    assert "high:load" not in proposed, "a meter cannot reach it; a recording may be entered"
    assert diagnose(table, [Reading("high", "load", 0.107)]).probability("healthy") > LIMITS.healthy


def test_expected_values_of_a_step(table: FaultTable) -> None:
    found = diagnose(table, (), ("dead",))
    leading = [spot.spot for spot in found.spots[:4]]
    assert [spot for spot, _ in found.next.expected] == leading
    for _, band in found.next.expected:
        assert isinstance(band, str) or band[0] <= band[1]


def test_predicted_of_an_unknown_fault(table: FaultTable) -> None:
    with pytest.raises(KeyError, match="no fault 'gremlin'"):
        predicted(table, "gremlin")


# -- a reversed battery ------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("diode", [True, False])
@pytest.mark.parametrize("place, volt", [("clip", -9.2), ("clip", -0.5), ("supply", -0.04), ("supply", -6.0)])
def test_a_minus_sign_stops_and_no_powered_reading_follows(diode: bool, place: str, volt: float) -> None:
    table = fault_table(SignalChain(), diode=diode)
    clean = typical(table, "healthy", "ohm:clip", "ohm:supply")
    for before in ([], clean):
        found = diagnose(table, [*before, Reading("dc", place, volt)])
        assert found.stop and found.reversed and found.unpowered_only
        assert not any(step.powered for step in (found.next, *found.others) if step)


def test_a_wandering_zero_is_no_minus_sign_and_the_last_reading_counts(table: FaultTable) -> None:
    clean = typical(table, "healthy", "ohm:clip", "ohm:supply")
    assert not diagnose(table, [*clean, Reading("dc", "supply", -0.0002)]).reversed
    assert not diagnose(table, [*clean, Reading("dc", "jack", -0.003)]).reversed, "only where the battery feeds"
    turned = diagnose(table, [*clean, Reading("dc", "clip", -9.2), Reading("dc", "clip", 9.2)])
    assert not turned.reversed or turned.probability("battery") > 0.2
    assert not diagnose(table, clean).reversed and not diagnose(table).reversed


# -- what is heard, and what cannot have been read ---------------------------------------------------------------------
EARS = [word for word in WORDS if word != "hot"]


@pytest.mark.parametrize("said", [(word,) for word in EARS] + list(itertools.combinations(EARS, 2)))
def test_no_word_but_heat_raises_the_alarm(table: FaultTable, said: tuple[str, ...]) -> None:
    found = diagnose(table, (), said)
    assert not found.stop and not found.found and found.short <= LIMITS.stop_share
    assert found.spots[0].probability < 0.5, "words alone point, they do not find"
    assert diagnose(table, (), (*said, "hot")).stop


@pytest.mark.parametrize("place", ["clip", "supply", "source", "jack", "pickup", "plug", "cable"])
def test_one_reading_and_hearsay_bear_no_verdict(table: FaultTable, place: str) -> None:
    """A probe that does not touch reads over range as well."""
    one = [Reading("ohm", place, np.inf)]
    for said in (("weak", "distorted"), ("weak", "dead"), ("hiss", "distorted")):
        assert not diagnose(table, one, said).found
    assert diagnose(table, one, ("weak", "distorted")).spots[0].probability < 0.96


def test_what_was_read_bears_a_verdict_that_words_only_settle(table: FaultTable) -> None:
    readings = typical(table, "open:R_S", "ohm:source", "ohm:supply", "dc:source")
    assert diagnose(table, readings).found
    vague = typical(table, "healthy", "ohm:source", "ohm:supply")
    assert not diagnose(table, vague, ("dead", "hum")).found


@pytest.mark.parametrize("reading", [("dc", "clip", 900.0), ("dc", "supply", 48.0), ("low", "jack", 230.0)])
def test_volts_that_no_supply_of_this_board_can_give_are_not_weighed(
    table: FaultTable, reading: tuple[str, str, float]
) -> None:
    readings = typical(table, "open:R_S", "ohm:source", "ohm:supply")
    found, without = diagnose(table, [readings[0], Reading(*reading), readings[1]]), diagnose(table, readings)
    assert found.absurd == (1,) and found.spots == without.spots
    clear = typical(table, "healthy", "ohm:clip", "ohm:supply")
    assert not diagnose(table, clear).unpowered_only
    asked = diagnose(table, [*clear, Reading(*reading)])
    assert asked.unpowered_only, "until it is answered the battery stays out"
    assert not any(step.powered for step in (asked.next, *asked.others) if step)
    assert diagnose(table, [Reading("dc", "clip", 9.6)]).absurd == ()
    assert diagnose(table, [Reading("dc", "clip", -900.0)]).stop, "a minus sign is one, whatever the number"
