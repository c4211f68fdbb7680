"""One truth: what the chapters say of the same chain agrees with its judgement and with each other.

2,000 chains drawn from a fixed seed, half of them as a maker might build them, half from anywhere in the ranges, over
all stages, inputs and supplies. A tenth in each run, searches, commands and sheet of a few of them only;
PIEZOLAB_LONG=1 takes all. The chains of the shipped lessons go the same way. Each kind of fault is shown to be found on
a sentence that was once printed. Long run of 26 November 2026: of 2,000 chains three failed, and are among SEEN: two
were told of "-0.0 dB" of room, and a resistor that makes a stage work was offered without what it then costs. On 27
November, these mended, all 2,000 passed without the searches, commands and sheets, and the first 100 with theirs.
"""

import math
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import piezolab
from piezolab import catalogue
from piezolab.catalogue import data_dir
from piezolab.chain import SignalChain
from piezolab.chain.signal_chain import checked_leniently
from piezolab.chain.stages import all_stages
from piezolab.lessons.lesson import Goal, met, right_option
from piezolab.lessons.shelf import lessons
from piezolab.location import notebooks_dir
from piezolab.pages.how_loud_before_it_clips.chapter import battery_words, verdict_words
from piezolab.pages.kit import sentences as say
from piezolab.pages.kit.battery_words import life as life_words
from piezolab.pages.kit.clip_words import ASSUMED, CAUSES, stage_edge_sentences
from piezolab.pages.kit.worth_words import thin_sentences, worth_sentence
from piezolab.pages.what_do_cable_and_input_change import sentences as plug
from piezolab.pages.who_makes_the_hiss_and_the_hum import sentences as noise_words
from piezolab.pages.will_this_transistor_do import sentences as rest_words
from piezolab.sheets.what_and_why import what_and_why
from piezolab.studies.figures import figures
from piezolab.studies.hiss import noise
from piezolab.studies.inputs import this_input
from piezolab.studies.judging.judgement import Judgement, judgement
from piezolab.studies.loading import loading
from tests.chain.strategies import random_chain
from tests.pages.choosing_relations import (
    begin_faults,
    choosing_faults,
    command_faults,
    cures_told,
    resistor_faults,
    room_faults,
    types_faults,
    why_faults,
    wish_faults,
)

PACKAGE = Path(piezolab.__file__).parent
LONG = bool(os.environ.get("PIEZOLAB_LONG"))
COUNT, SEED, BLOCK = 2000, 2611, 10
EVERY = 1 if LONG else 10
DEEP, SHEET = (4, 40) if LONG else (600, 1800)  # of the numbers, those whose searches and whose sheet are looked at

#: What no sentence may hold, by what is wrong with it.
NEVER = {
    "not a word": r"\b(nan|inf|None|True|False)\b",
    "doubled word": r"\b([A-Za-z]+) \1\b",
    "empty phrase": r"  |\(\)|\.\.|,,| ,| \.(?!\d)|: *\.|; *\.|\bof ?[.,]",
    "no voltage twice": r"no voltage.*no voltage",
    "part of a battery": r"\d\.\d+ in series",
    "old word": r"What fails|\bsurely\b|bit of information|bridging ratio|\bessential\b|\bpointless\b|\bsaves\b",
    "edge or playing?": r"Up to there it sounds|stays? clean",
    "has only": r"has only [\d.]+ V from drain",
    "fits or works?": r"(of 100|every \S+|any \S+) would do\b",
    "screen at one end": r"screen to ground at one end only",
    "minus nothing": r"[-−]0(\.0+)? dB",
    "one in series": r"\b1 in series give\b",
    "article": r"\ba (output|input|instrument|adapter|electrolytic|amplifier|ohm)\b",
    "down against what?": r"arrives [\d.]+ dB down:",
}


def faults_in(text: str) -> list[str]:
    """What is wrong with a text by itself."""
    plain = text.replace("\u00a0", " ").replace("\u202f", " ")
    return [what for what, pattern in NEVER.items() if re.search(pattern, plain)]


# -- the chains -------------------------------------------------------------------------------------------------------
def likely_chain(rng: np.random.Generator) -> SignalChain:
    """As a maker might have it."""
    def one(of: Any) -> Any:
        return of[int(rng.integers(len(of)))]

    entered: dict[str, Any] = {
        "stage": one(list(all_stages())), "input": (one(list(catalogue.inputs())),),
        "supply": one([*catalogue.batteries(), "adapter"]), "jfet": one(list(catalogue.transistors())),
        "tuning": one(["D3-A3-D4", "E1", "G3", "E2-A2-D3-G3-B3-E4", "G4-C4-E4-A4"]),
        "pickup_c": one([440e-12, 1e-9, 2.2e-9, 15e-9, 30e-9]), "cable_m": one([1.0, 3.0, 6.0, 10.0]),
        "gate_r": one([1e6, 2.2e6, 4.7e6, 10e6, 22e6]), "out_c": one([100e-9, 470e-9, 1e-6, 2.2e-6, 10e-6]),
        "bleed_r": one([47e3, 100e3, 1e6]), "play_v": one([0.1, 0.5, 1.0, 3.0]), "shield_db": one([0.0, 20.0, 40.0]),
        "supply_v": one([3.0, 9.0, 9.0, 12.0, 18.0]), "loop_v": one([0.0, 0.0, 1e-3]),
    }  # fmt: skip
    return checked_leniently(entered)[0]


def drawn(numbers: range) -> Iterator[SignalChain]:
    """The chains of those numbers; each has a seed of its own."""
    for number in numbers:
        rng = np.random.default_rng([SEED, number])
        yield likely_chain(rng) if number % 2 else random_chain(rng)


# -- relations --------------------------------------------------------------------------------------------------------
def bass_faults(judged: Judgement, text: str) -> list[str]:
    """Chapter 1 against the judgement: which way the lowest string moves, and whether a stage is needed."""
    found, worth = [], judged.worth
    if worth.bass_db <= -1 and not (judged.sound.silent or "quieter" in text):
        found.append("a loss of the lowest string is not told")
    if worth.bass_db < 0 and re.search(r"every note comes [\d.]+ dB louder", text):
        found.append("every note louder beside a low note that is quieter")
    if worth.bass_db >= 0 and re.search(r"\bit comes [\d.]+ dB quieter", text):
        found.append("a gain told as a loss")
    if worth.bass_db < 0 and re.search(r"\bit comes [\d.]+ dB louder", text):
        found.append("a loss told as a gain")
    if worth.gains and "needs no stage" in text:
        found.append("no stage needed, and yet it brings something")
    return found


def worth_faults(judged: Judgement, told: str) -> list[str]:
    """The sentence about worth against the judgement."""
    found, worth = [], judged.worth
    yes, no = "A stage is worth it here" in told, "not worth it here" in told
    if yes != (worth.worth_it and worth.works and not worth.silent):
        found.append("worth")
    if no != (worth.works and not worth.silent and not worth.worth_it and bool(worth.gains or worth.costs)):
        found.append("no worth")
    if yes and worth.bass_db <= -1:
        found.append("worth it, and yet it spoils the bass")
    return found


def edge_faults(judged: Judgement, stage: str, whole: str) -> list[str]:
    """Chapter 2's sentences about the stage and chapter 5's about the chain against the edges and each other."""
    found, edges = [], judged.edges
    if ("does not clip up to" in stage) != (math.isfinite(edges.stage_v) and edges.stage_v >= edges.play_v):
        found.append("edge of the stage alone")
    if "does not clip," in whole and "clip in the stage" in stage:
        found.append("clips here and not there")
    if ("does not clip," in whole or " clips: " in whole) and (" clips: " in whole) != edges.clips:
        found.append("edge of the chain")
    if " clips: " in whole and "does not clip up to" in stage and not edges.input_first:
        found.append("clean here and clipping there")
    cause = CAUSES.get(edges.chain_cause, "").rpartition(":")[2]
    if "Hard playing (" in whole and cause not in whole:
        found.append("cause")
    if "Hard playing (" in whole and (ASSUMED in whole) != edges.assumed:
        found.append("whether the ceiling is assumed")
    return found


def life_faults(judged: Judgement, text: str) -> list[str]:
    """Never longer than it keeps; nothing of batteries where there is none."""
    chain = judged.chain
    if judged.life is None:
        return ["a battery where there is none"] if "batter" in text else []
    kept = catalogue.batteries()[chain.supply].shelf_years
    years = [float(n) for n in re.findall(r"([\d.]+) years", text)]
    days = [float(n) for n in re.findall(r"\((\d+) days", text)]
    return ["outlasts its shelf life"] if max([*years, *(d / 365.25 for d in days)], default=0) > kept + 0.1 else []


def drive_faults(judged: Judgement, plugged: str) -> list[str]:
    """Chapter 3's words on too loud a stroke against chapter 5's room."""
    over = -judged.edges.headroom_db
    told = [float(db) for db in re.findall(r"(?:clips, |playing is )([\d.]+) dB too", plugged)]
    more = [float(db) for db in re.findall(r"([\d.]+) dB sooner", plugged)]
    found = [] if all(abs(db - over) < 0.051 for db in told) else ["too much by another figure"]
    if any(not db < over + 0.051 for db in more) or (more and "by itself" not in plugged):
        found.append("sooner than what?")
    return found


def texts_of(judged: Judgement) -> dict[str, str]:
    """What the chapters say, by chapter and part."""
    chain, working = judged.chain, judged.working
    first = f"{say.bare_sentence(judged)} {say.stage_sentence(judged)}"
    told = {
        "bass": first,
        "thin": " ".join(thin_sentences(judged.thin)),
        "bass advice": " ".join(say.advice(chain, loading(chain))),
        "worth": worth_sentence(chain, judged.worth),
        "stage edges": " ".join(stage_edge_sentences(judged.edges)) if working is not None and working.rest else "",
        "input": plug.verdict(chain, this_input(chain), _broken(judged)),
        "what and why": what_and_why(chain),
        "plugging": " ".join(plug.plugging_sentences(judged.plug)),
        "clipping": verdict_words(chain),
        "supply": " ".join(re.sub(r"<[^>]+>", " ", battery_words(chain)).split()),
        "noise": noise_words.verdict(chain, judged.loudness, noise(chain)),
    }
    if working is not None:
        told["rest"] = rest_words.verdict(chain, working.at_rest, working.spent, judged.edges, None)
    return told


def _broken(judged: Judgement) -> str:
    return "" if judged.working is None else say.not_working(judged.working.at_rest)


def faults_of(chain: SignalChain, *, deep: bool = False, sheet: bool = False) -> list[str]:
    """Everything that is wrong with what is said of a chain; deep, sheet: see `choosing_faults`."""
    judged = judgement(chain)
    told = texts_of(judged)
    chosen, wrong = choosing_faults(judged, deep=deep, sheet=sheet)
    told |= chosen
    found = [f"{fault}: {chosen}" for fault in wrong]
    found += [f"{part}: {fault}: {text}" for part, text in told.items() for fault in faults_in(text)]
    if judged.works and judged.working is not None and not say.opposed(chain):
        found += [f"{fault}: {told['bass']}" for fault in bass_faults(judged, told["bass"])]
    found += [f"{fault}: {told['worth']}" for fault in worth_faults(judged, told["worth"])]
    found += [f"{fault}: {told['what and why']}" for fault in why_faults(judged, told["what and why"], told["worth"])]
    found += [f"{fault}: {told['what and why']}" for fault in begin_faults(judged, told["what and why"])]
    found += [f"{fault}: {told['input']}" for fault in drive_faults(judged, told["input"])]
    if judged.works:
        found += [
            f"{fault}: {told['stage edges']} / {told['clipping']}"
            for fault in edge_faults(judged, told["stage edges"], told["clipping"])
        ]
    supply = " ".join(told[part] for part in ("bass", "stage edges", "clipping", "supply", "rest") if part in told)
    found += [f"{fault}: {supply}" for fault in life_faults(judged, supply)]
    return found


#: Numbers of chains on which a long run has found something.
SEEN = (1500, 1785, 1993)


@pytest.mark.parametrize("number", SEEN)
def test_what_a_long_run_found_stays_mended(number: int) -> None:
    (chain,) = drawn(range(number, number + 1))
    assert faults_in(cures_told(chain)) == [] and resistor_faults(judgement(chain)) == []


BLOCKS = [range(start, start + BLOCK * EVERY, EVERY) for start in range(0, COUNT, BLOCK * EVERY)]


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: f"{block.start}")
def test_the_chapters_agree(block: range) -> None:
    # every other one a number further, so that both halves are drawn from
    numbers = [number + (n % 2 if EVERY > 1 else 0) for n, number in enumerate(block)]
    found = {}
    for number in numbers:
        (chain,) = drawn(range(number, number + 1))
        start = number - number % 2
        if wrong := faults_of(chain, deep=start % DEEP == 0, sheet=start % SHEET == 0):
            found[str(chain)] = wrong
    assert found == {}


def set_by_lessons() -> list[SignalChain]:
    """The chains that the shipped lessons set, each once: those that they begin with, in the long run all."""
    found = {str(lesson.chain): lesson.chain for lesson in lessons().values()}
    for step in (step for lesson in lessons().values() for step in lesson.steps if LONG):
        found |= {str(chain): chain for chain in (step.chain, *(option.chain for option in step.options)) if chain}
    return list(found.values())


def test_lessons_and_chapters_agree() -> None:
    found = {str(chain): wrong for chain in set_by_lessons() if (wrong := faults_of(chain))}
    assert found == {}


def test_a_goal_of_a_lesson_is_met_by_what_the_pages_say() -> None:
    """Goals are figures of the command, which reads the judgement; the pages tell hum to the ear, so do the goals."""
    figures_met = {goal.figure for lesson in lessons().values() for step in lesson.tasks for goal in step.goals}
    assert "hum.relative_db" not in figures_met and "hum.to_the_ear_db" in figures_met
    chain = SignalChain(play_v=0.4, loop_v=1e-3)
    judged = judgement(chain)
    for path, figure in (("hum.to_the_ear_db", judged.loudness.hum_db), ("levels.input_headroom_db",
                         judged.edges.headroom_db), ("worth.low_note_db", judged.worth.bass_db)):  # fmt: skip
        for least, good in ((figure - 0.01, True), (figure + 0.01, False)):
            assert met(Goal(path, "at least", float(least)), chain)[0] == good


def test_the_quieter_choice_of_a_lesson_is_quieter_to_the_ear() -> None:
    """Steps that ask what leaves the least hum go by the ear, as the judgement does."""
    steps = [step for lesson in lessons().values() for step in lesson.tasks
             if step.kind == "pick" and step.figure == "hum.to_the_ear_db"]  # fmt: skip
    assert steps
    for step in steps:
        by_ear = [float(judgement(option.chain).loudness.hum_db) for option in step.options]
        assert int(np.argmin(by_ear)) == right_option(step), (step.name, by_ear)


# -- the checks can fail ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "sentence",
    [
        "A stage is essential here: against the bare pickup a source follower saves 0.0 dB of all notes.",
        "Strokes up to 1.2 V stay clean; your hardest makes 1.0 V.",
        "Hard playing does not clip. Up to there it sounds clean.",
        "the transistor has only 9.0 V from drain to source and cannot swing.",
        "The battery (3.57 in series) lasts about 600 hours switched on.",
        "What leaks through leaves no voltage on the jack, no voltage with the leakiest part.",
        "It does not fit all your wishes. What fails: that it has the gain.",
        "I_DSS is 5 mA (surely 2.03 mA to 2.19 mA).",
        "Why this one: it tells most (0.7 bit of information on average).",
        "The input's impedance over the output's is the bridging ratio: 2000.",
        "Every centimetre is an aerial. Tie the screen to ground at one end only, at the board.",
        "A typical J113 works in this source follower. Nearly every J113 would do.",
        "It is nan dB down.",
        "13 V is no whole number of 9.0 V batteries: 1 in series give 9.0 V.",
        "Change first: a output capacitor of 330n.",
        "Bare, your E (41 Hz) arrives 38 dB down: next to no bass.",
        "It comes  at the the cost of .",
    ],
)
def test_an_old_sentence_is_found(sentence: str) -> None:
    assert faults_in(sentence)


def test_no_text_holds_a_word_of_old() -> None:
    """In what pages, sheets and data say, shown or not for any of the chains; faults and their readings included."""
    sources = [path for folder in ("pages", "sheets") for path in (PACKAGE / folder).rglob("*.py")]
    sources += [*data_dir().rglob("*.toml"), *notebooks_dir().glob("*.ipynb")]
    assert len(sources) > 80
    old = {what: re.compile(NEVER[what]) for what in ("old word", "edge or playing?", "has only", "screen at one end")}
    assert old["old word"].search("(surely 2.03 mA to 2.19 mA)")
    for path in sources:
        text = path.read_text(encoding="utf-8")
        assert [what for what, pattern in old.items() if pattern.search(text)] == [], path.name


def test_an_old_relation_is_found() -> None:
    thin = judgement(SignalChain(
        pickup_c=440e-12, gate_r=1e6, input="acoustic-amplifier", tuning="E2"
    ))  # fmt: skip
    assert bass_faults(thin, "With it it is very thin, and every note comes 4 dB louder.")
    assert bass_faults(thin, "With it it is very thin, and it comes 4 dB louder than bare. Every note is quieter.")
    assert bass_faults(judgement(SignalChain(input="line")), "It keeps its bass, but it comes 16 dB quieter than bare.")
    assert worth_faults(thin, "A stage is worth it here: it brings 4 dB.")
    loud = judgement(SignalChain(stage="gain", source_r=1e3))
    assert edge_faults(loud, "The stage alone does not clip up to strokes of 9 V", "")
    assert edge_faults(loud, "", "Hard playing (1.0 V peak) does not clip, but only just")
    over = judgement(SignalChain(input="line"))
    assert drive_faults(over, "The stage cannot drive it: it clips 0.8 dB sooner than with nothing plugged in.")
    assert drive_faults(over, "Hard playing is 2.0 dB too loud for this input: it rasps.")
    assert why_faults(over, "Build the source follower: it brings your low D (147 Hz) 16 dB louder.", "16 dB")
    assert why_faults(over, what_and_why(over.chain).replace("16 dB", "15 dB"), worth_sentence(over.chain, over.worth))
    assert begin_faults(over, "Change first: gate resistor 10M.")
    assert begin_faults(thin, "Change first: half the source resistor.")
    aged = judgement(SignalChain(supply="aa-6", source_r=10e6))
    assert life_faults(aged, "The battery would last 47.7 years, but your hardest strokes clip.")
    assert life_faults(judgement(SignalChain(supply="adapter")), "until the battery is spent")
    assert not life_faults(aged, life_words(aged.life))


def test_an_old_choice_is_found() -> None:
    """What searches and tables once said of a chain: that it fits although it clips, a room that is not its own, a
    change that brings nothing, a type that clips, and a command's figure of another chain."""
    loud, quiet = judgement(SignalChain(play_v=3.0)), judgement(SignalChain(play_v=0.1))
    assert wish_faults(loud, "A source follower with a J113 fits all your wishes.")
    assert wish_faults(quiet, "It does not fit all your wishes: it gives too little level.")
    assert room_faults(loud, "Half the source resistor: room 3.8 → 6.1 dB")
    assert room_faults(quiet, f"Half the source resistor: room {quiet.edges.headroom_db:.1f} → 30.0 dB")
    assert types_faults(quiet, "J201: 0.1 dB of room", None)
    assert command_faults(loud, figures(quiet.chain)) and not command_faults(loud, figures(loud.chain))
    thump = judgement(SignalChain(out_c=100e-6, bleed_r=1e6))
    assert wish_faults(thump, "A source follower with a J113 fits all your wishes.")
    assert not resistor_faults(quiet)


def test_words_for_hum_and_hiss_follow_their_figure() -> None:
    order = [words for _, words in noise_words.HEARD]
    ranks = [order.index(noise_words.heard(db)) for db in np.linspace(20, -150, 400)]
    assert ranks == sorted(ranks) and set(ranks) == set(range(len(order)))
