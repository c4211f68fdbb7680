"""Chapter 4: words and figures follow the chain, for every kind of chain."""

import re
from html import escape

import numpy as np
import pytest

from piezolab.catalogue.advice_texts import advice_texts
from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.pages.who_makes_the_hiss_and_the_hum import chapter as page
from piezolab.pages.who_makes_the_hiss_and_the_hum import sentences as say
from piezolab.studies.advice import hiss_advice, hum_advice
from piezolab.studies.hiss import noise
from piezolab.studies.judging.hum_and_hiss import loudness
from piezolab.studies.matters import effects
from piezolab.studies.response import response

QUERIES = [
    "",
    "stage=direct",
    "stage=gain&bypass_part=0.5",
    "supply=adapter&loop_v=10m&return=divider&divider_c=0",
    "discs=2px",
    "discs=2sx&stage=direct",
    "source_r=0",
    "pad=10k,1k&input=line",
    "resonance=4k,20,0.5",
    "temp_c=60&discs=2s",
    "input=pedal,interface",
    "hum_c=0",
]


@pytest.mark.parametrize("query", QUERIES)
def test_every_section_has_words_for_every_chain(query: str) -> None:
    made = page.make(query)
    chain = made.state.chain
    assert not made.state.trouble
    assert made.verdict.content and "nan" not in made.verdict.content
    texts = [made.table.content, page.steps_html(chain), page.larger_gate_resistor(chain)]
    texts += [page.another_transistor(chain), page.does_it_matter(chain), page.getting_in(chain)]
    for text in texts:
        assert text
        assert not re.search(r"\b(nan|inf|None)\b", text), text
    for at_pickup in (False, True):
        traces, *_, label = page.density_figure(chain, None, at_pickup=at_pickup)
        assert len(traces) >= 2 and label


def test_verdict_names_the_louder_one_first_and_its_culprit() -> None:
    def verdict(chain: SignalChain) -> str:
        return say.verdict(chain, loudness(chain), noise(chain))

    # 39 dB flat, 69 dB weighted A: the flat figure less 10 dB is the worse
    assert verdict(SignalChain()).startswith("Hum is 49 dB under your hard playing to the ear: there in the pauses")
    assert "drowns" not in verdict(SignalChain())
    assert "it drowns your E (41 Hz)" in verdict(SignalChain(tuning="E1", pickup_c=300e-12, hum_c=20e-12))
    assert "ground loop" in verdict(SignalChain(loop_v=0.1))
    assert "adapter" in verdict(SignalChain(stage="gain", supply="adapter", ripple_v=1.0, hum_c=0.0))
    quiet = verdict(SignalChain(hum_c=0.0, input_noise=900e-9))
    assert quiet.startswith("Hiss is") and "the input you plug into" in quiet and "No hum gets in" in quiet


def test_words_for_levels_cover_all_of_them_in_order() -> None:
    words = [say.heard(-level) for level in (0, 15, 30, 50, 70, 120)]
    assert words == [entry[1] for entry in say.HEARD]


def test_a_person_who_hears_hum_finds_culprit_and_cure_beside_the_controls() -> None:
    made = page.make("loop_v=100m")
    assert "isolating transformer" in made.advice.content or "batteries" in made.advice.content
    assert "Try first" in made.advice.content
    assert "touch a grounded part" in page.steps_html(SignalChain())


def test_foil_is_not_tried_first_where_there_is_a_shield_already() -> None:
    assert next(step.name for step in hum_advice(SignalChain()).steps) == "foil"
    assert "foil" not in [step.name for step in hum_advice(SignalChain(shield_db=10.0)).steps]


def test_a_screen_is_joined_by_kind_of_lead() -> None:
    """With one core the screen is the disc's return: open at one end, no current flows (Kirchhoff)."""
    one, two = (advice_texts()[name].text for name in ("screened-lead", "screened-lead-two-cores"))
    assert "one end only" not in one and "open at either end, the disc is disconnected" in one
    assert "at the board only" in two


def test_touching_a_grounded_part_carries_its_caution() -> None:
    said = page.steps_html(SignalChain())
    assert "touch a grounded part" in said and "tingled" in said and "licensed" in said


def test_playing_lies_at_nought_at_a_thousand_hertz_and_follows_the_chain() -> None:
    chain = SignalChain(pickup_c=1e-9, gate_r=1e6)
    curve = page.view(chain, None, False).traces[0]
    level = response(chain, np.array([50.0, 1000.0])).gain_db
    at = np.interp(np.log([50.0, 1000.0]), np.log(curve["x"]), curve["y"])
    assert curve["name"] == "hard playing" and at == pytest.approx(level - level[1], abs=0.02) and at[0] < -5


def test_a_step_that_makes_it_worse_is_no_advice() -> None:
    from piezolab.studies.advice import hiss_advice

    chain = from_link("stage=direct&pickup_c=50p&cable_m=100&input=line")
    assert any(step.computed and step.less_db[0] < -0.05 for step in hiss_advice(chain).steps)
    assert "more hiss" not in page.steps_html(chain)
    assert "too quiet to hear already" not in page.steps_html(chain)
    assert "too quiet to hear already" in page.steps_html(SignalChain())


def test_a_step_that_leaves_no_hum_at_all_says_so() -> None:
    """Ripple is all that hums here, and a battery has none."""
    chain = from_link("supply=adapter&ripple_v=100m&hum_c=0&loop_v=0")
    advised = " ".join(page.words(chain)[1])
    assert "a battery: no hum left (computed for this chain)" in advised
    assert not re.search(r"\b(nan|inf)\b", advised + page.steps_html(chain))


@pytest.mark.parametrize("db, words", [(-0.52, "0.5 dB less"), (0.11, "0.1 dB more"), (0.04, "the same"),
                                       (-0.0, "the same"), (float("nan"), "no signal")])  # fmt: skip
def test_changes_of_the_hiss_in_words(db: float, words: str) -> None:
    assert say.change_words(db) == words


def test_an_imperfection_says_from_where_on_and_which_way() -> None:
    told = {(e.key, e.part, e.lead): say.effect_result(e) for e in effects(SignalChain(stage="gain"))}
    assert told["leak to supply", "", 0].endswith("from 100 MΩ down")
    assert any(words.endswith("from 100 Ω up") for (key, *_), words in told.items() if key == "joint")
    bare = SignalChain(stage="direct")
    words = " ".join(say.effect_words(effect, bare) for effect in effects(bare))
    assert "disc's hot lead" in words and "gate" not in words


@pytest.mark.parametrize("link", [
    "", "input=line&hum_c=2p", "stage=gain&supply=adapter", "stage=direct&loop_v=10m", "input_noise=900n",
])
def test_only_steps_that_can_be_heard_are_listed(link) -> None:
    chain = from_link(link)
    html, made = page.steps_html(chain), page.make(link)
    hiss = () if page.hiss_is_quiet(chain) else hiss_advice(chain).steps  # what nobody hears wants no step
    steps = (*hum_advice(chain).steps, *hiss)
    texts = advice_texts()
    heard = {texts[step.name].title for step in steps if step.less_db[1] >= 0.5}
    assert {row.title for row in texts.values() if f"<strong>{escape(row.title)}</strong>" in html} == heard
    more = [part for part in made.widget.children if isinstance(part, page.TryOut)]
    offered = {button["word"] for button in more[0].buttons.buttons}
    assert offered == {step.name for step in steps if step.computed and step.less_db[0] >= 0.5}


def test_trying_a_step_changes_the_chain_and_undo_takes_it_back() -> None:
    made = page.make("supply=adapter&ripple_v=1&hum_c=0&stage=gain")
    tried = page.TryOut(made.state)
    before = made.state.chain
    tried.buttons.press("battery")
    assert made.state.chain.supply != "adapter"
    claimed = next(step for step in hum_advice(before).steps if step.name == "battery")
    assert claimed.computed
    made.state.undo()
    assert made.state.chain == before


def test_assumed_and_computed_steps_say_which_they_are() -> None:
    for step in hum_advice(from_link("supply=adapter&loop_v=1m")).steps:
        words = say.step_words(step)
        assert ("computed for this chain" in words) == step.computed
        assert ("an assumption, not computed" in words) != step.computed


def test_the_makers_of_hiss_have_names_that_a_maker_knows() -> None:
    for query in QUERIES:
        told = {name: say.maker_words(name) for name in noise(from_link(query)).shares}
        assert not any("_" in words or words == name for name, words in told.items()), told
        assert len(set(told.values())) == len(told), "two rows of one name cannot be told apart"


def test_effects_are_named_by_part_and_lead() -> None:
    chain = SignalChain(stage="gain")
    words = [say.effect_words(effect, chain) for effect in effects(chain)]
    assert any("transistor's source" in w for w in words)
    assert len(set(words)) == len(words)


@pytest.mark.parametrize(
    ("answer", "right"), [("-39.3", False), ("33.3 dB", True), ("36.3", False), ("", False), ("<b>", False)]
)
def test_the_ratio_task_is_checked(answer: str, right: bool) -> None:
    made = page.make("")
    assert made.tasks.check("hum-ratio", answer)[0] == right


def test_the_other_tasks_are_checked_against_the_studies() -> None:
    made = page.make("")
    assert made.tasks.check("hum-cure", "1")[0] and not made.tasks.check("hum-cure", "0")[0]
    assert not made.tasks.check("hum-quiet", "")[0]
    made.state.put(made.state.chain.but(shield_db=40.0))
    assert made.tasks.check("hum-quiet", "")[0]
