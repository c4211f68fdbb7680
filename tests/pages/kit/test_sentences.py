"""What the pages say about a chain."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain.link import from_link
from piezolab.pages.kit import sentences as say
from piezolab.pages.kit.worth_words import thin_sentences, worth_sentence
from piezolab.studies.bias import bias
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.loading import loading


def said(link: str) -> str:
    """Both sentences and the advice of a chain."""
    judged = judgement(from_link(link))
    told = [say.bare_sentence(judged), say.stage_sentence(judged), *thin_sentences(judged.thin)]
    return " ".join([*told, *say.advice(judged.chain, loading(judged.chain))])


@pytest.mark.parametrize(
    "loss, words",
    [(-3, "it keeps its bass"), (0, "it keeps its bass"), (0.49, "it keeps its bass"), (0.5, "nearly all of its bass"),
     (2, "a touch light"), (3, "light"), (9, "thin"), (12, "very thin"), (25, "next to no bass"),
     (math.inf, "next to no bass")],
)  # fmt: skip
def test_words_for_a_loss(loss, words):
    assert say.heard(loss).startswith(words)


def test_the_limits_of_the_words_rise():
    limits = [limit for limit, _ in say.HEARD]
    assert limits == sorted(limits) and limits[-1] == math.inf
    assert len({words for _, words in say.HEARD}) == len(say.HEARD)


@pytest.mark.parametrize(
    "db, words",
    [(-9, "9 dB down"), (-9.04, "9 dB down"), (-0.1, "0.1 dB down"), (6.02, "6 dB up"), (-17.4, "17 dB down"),
     (-9.96, "10 dB down"), (0.04, "level"), (-0.04, "level"), (-math.inf, "not there at all")],
)  # fmt: skip
def test_levels_in_words(db, words):
    assert say.decibel_words(db) == words


def test_the_note_is_the_makers_own():
    assert say.your_note(from_link("")) == "your low D (147 Hz)"
    assert say.your_note(from_link("tuning=E1")) == "your E (41 Hz)"
    assert say.your_note(from_link("tuning=G4-Fs2-C4")) == "your low F♯ (92 Hz)"  # the lowest, wherever it stands


def test_a_small_pickup_into_a_low_input_is_thin_and_a_follower_cures_it():
    text = said("pickup_c=1n5&input=pedal-vintage")
    assert "Bare, your low D (147 Hz) arrives 17 dB down against the higher notes: very thin" in text
    assert re.search(r"With the source follower it keeps its bass \(0\.\d dB down\)", text)
    assert "needs an input of at least 1.1 MΩ" in text and "this one has 80 kΩ" in text


def test_what_all_notes_lose_is_told_beside_what_the_low_one_loses_more():
    """By hand: 50 pF before 30 + 10 000 + 200 pF and 10 kΩ; full level 46.3 dB down, corner 1.55 kHz."""
    text = said("stage=direct&pickup_c=50p&cable_m=100&input=line")
    assert "Bare, all notes lose 46 dB, and your low D (147 Hz) another 20 dB: next to no bass" in text


def test_a_gain_stage_says_how_much_louder_it_is():
    assert re.search(r"With the gain stage .* it does so too, and every note comes 26 dB louder\.", said("stage=gain"))
    assert "louder" not in said("")


@pytest.mark.parametrize("hz, words", [(0.7916, "0.79 Hz"), (0.05, "0.05 Hz"), (1.5, "1.50 Hz"), (49, "49.0 Hz")])
def test_a_frequency_is_never_in_thousandths_of_a_hertz(hz, words):
    assert say.pitch_words(hz).replace("\u00a0", " ").startswith(words)


def test_the_default_chain_is_safe_and_says_so():
    text = said("")
    assert "Bare, your low D (147 Hz) keeps its bass (level with the higher notes)." in text
    assert "With the source follower it does so too. This input needs no stage." in text
    assert "An input of" in text and "would do" in text


THIN = "pickup_c=440p&gate_r=1M&input=acoustic-amplifier&tuning=E2"


def test_a_stage_that_spoils_the_bass_is_told_as_a_loss_with_its_part_and_value():
    text = said(THIN)
    assert "very thin" in text and "but it comes 8 dB quieter than bare, the higher notes 4.2 dB louder" in text
    assert "every note comes" not in text and "needs no stage" not in text
    assert "What makes it thin is the gate resistor of 1M: 10M would do." in text
    judged = judgement(from_link(THIN))
    worth = worth_sentence(judged.chain, judged.worth)
    assert "not worth it here" in worth and "at the cost of your E (82 Hz) 8 dB quieter" in worth
    assert "What makes it thin" not in said(THIN.replace("gate_r=1M", "gate_r=10M"))


def test_a_level_that_is_lost_is_told():
    text = said("stage=gain&bypass_c=0&drain_r=1k&source_r=2k7")
    assert re.search(r"it does so too, but every note comes [\d.]+ dB quieter\. This input needs no stage", text)


def test_no_stage():
    assert "No stage is in the chain" in said("stage=direct")


@pytest.mark.parametrize("discs", ["2px", "2sx"])
@pytest.mark.parametrize("stage", ["direct", "follower"])
def test_opposed_discs_cancel(discs, stage):
    text = said(f"discs={discs}&stage={stage}")
    assert "wired against each other" in text and "dB" not in text.split("Swap")[0]
    assert stage == "direct" or "cannot bring back" in text


def test_discs_in_series_add_up():
    assert "in series add up" in said("discs=2s")


def test_a_leaking_pickup_cannot_be_saved_by_any_input():
    text = said("pickup_c=1n&pickup_r=500k")
    assert "No input, however high" in text and "500 kΩ" in text and "Dry it" in text


def test_a_long_cable_takes_from_every_note():
    assert re.search(r"take \d\.\d dB from every note alike", said("pickup_c=1n&cable_m=10"))


@pytest.mark.parametrize(
    "link, words",
    [
        ("jfet_idss=2m&jfet_vgsoff=-6&return=divider", "cannot swing"),  # half-supply bias with |V_GS(off)| > V+/2
        ("jfet_idss=50m&jfet_vgsoff=-1&stage=gain&drain_r=100k", "cannot swing"),
        ("source_r=0&return=divider", "the gate conducts"),
    ],
)
def test_a_stage_that_does_not_work_says_what_it_sounds_like(link, words):
    chain = from_link(link)
    text = say.not_working(bias(chain))
    assert words in text and re.search(r"[Ss]ounds|hear", text)
    assert "nothing is won yet" in say.stage_sentence(judgement(chain))


def test_too_little_voltage_says_how_much_is_needed_and_how_much_is_there():
    """By hand: with the gate at half of 9 V and V_GS(off) -6 V the drain would have to lie above 10.5 V."""
    told = say.not_working(bias(from_link("jfet_idss=2m&jfet_vgsoff=-6&return=divider"))).replace("\u00a0", " ")
    found = re.search(r"needs more than ([\d.]+) V from drain to source and has ([\d.]+) V", told)
    needs, has = map(float, found.groups())
    assert has < needs and "has only" not in told
    assert say._apart(2.104, 2.096) == ("2.104 V", "2.096 V")  # in as many figures as tell them apart


@given(
    st.sampled_from(["1", "2p", "2s", "2px", "2sx"]), st.sampled_from(["direct", "follower", "gain"]),
    st.floats(50e-12, 500e-9), st.floats(1e4, 1e11), st.floats(0, 100), st.sampled_from(["10k,1k", "none"]),
)  # fmt: skip
def test_there_is_always_something_to_say(discs, stage, c, r, metres, pad):
    text = said(f"discs={discs}&stage={stage}&pickup_c={c!r}&pickup_r={r!r}&cable_m={metres!r}&pad={pad}")
    assert text.endswith((".", "?")) and not re.search(r"\bnan\b|\binf\b|None", text)
