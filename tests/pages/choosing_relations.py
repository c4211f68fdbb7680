"""Relations between what searches, sheet and commands say of a chain and its judgement; see `test_one_truth`."""

import html
import math
import re

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.cure_words import before_after, cure_words
from piezolab.pages.how_loud_before_it_clips.room_section import room_words
from piezolab.pages.kit.wish_words import FAILS, other_types_words
from piezolab.pages.what_shall_i_build_from_my_drawer.chapter import verdict_words
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_answer import answer_html
from piezolab.pages.will_this_transistor_do.sentences import solved
from piezolab.quantity import letter_code
from piezolab.sheets.build_sheet import build_sheet
from piezolab.sheets.what_and_why import CHANGES, change_words, what_and_why
from piezolab.studies.choosing.best_resistor import ResistorChoice, best_resistor
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.improvement import improvement
from piezolab.studies.choosing.offers import search
from piezolab.studies.choosing.one_build import as_chain
from piezolab.studies.figures import figures
from piezolab.studies.judging.judgement import Judgement
from piezolab.studies.judging.wish import Wish
from piezolab.studies.level_cures import level_cures
from piezolab.studies.more_room import more_room
from piezolab.studies.shopping import other_types

CLOSE = 1e-6


def plain(text: str) -> str:
    """A page's text without its marks."""
    text = re.sub(r"<(style|svg).*?</\1>", " ", text, flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def limits(judged: Judgement) -> dict[str, bool]:
    """Which of the usual limits a chain keeps, straight from the judgement's parts."""
    plug = judged.plug
    return {
        "works": judged.working is None or judged.working.life,
        "low_note_db": float(judged.sound.balance_db) >= -1.0,
        "headroom_db": judged.edges.headroom_db >= 0.0,
        "gain_db": float(judged.sound.at_1khz_db) >= -3.0,
        "step_v": plug is None or abs(plug.step_v) <= 0.1,
        "settle_s": plug is None or plug.settle_s <= 3.0,
        "dc_v": plug is None or abs(plug.dc_v) <= 0.05,
    }


def wish_faults(judged: Judgement, text: str) -> list[str]:
    """Chapter 6's verdict against the limits: it fits exactly where all are kept, and names those that are not."""
    missed = [name for name, kept in limits(judged).items() if not kept]
    found = ["fits all, and yet it misses a limit"] if "fits all" in text and missed else []
    found += ["fits, and is told that it does not"] if "does not fit" in text and not missed else []
    return found + [f"not told: {name}" for name in missed if FAILS[name] not in text]


def why_faults(judged: Judgement, text: str, worth: str) -> list[str]:
    """The sentence that ends the story against worth, limits and hum, and its figures against chapter 3's sentence."""
    staged, of = judged.chain.topology.powered, judged.worth
    missed = [name for name, kept in limits(judged).items() if not kept]
    good = of.worth_it and judged.works and not of.silent
    begins = {
        "Build the ": staged and good and not missed, "Change this ": staged and good and bool(missed),
        "Do not plug ": not staged and good, "Plug the bare ": not staged and not good and not of.silent,
    }  # fmt: skip
    found = [f"what to build: {begin}" for begin, right in begins.items() if text.startswith(begin) != right]
    figures_told = set(re.findall(r"[\d.]+ dB (?!\.)", text)) if staged and good else set()
    found += [f"not chapter 3's figure: {db}" for db in figures_told if db not in worth]
    if staged and good:
        found += [f"not told: {name}" for name in missed if FAILS[name] not in text]
        found += ["clipping told twice"] if FAILS["headroom_db"] in text and "beyond the edge" in text else []
        found += ["hum"] if ("hum drowns" in text) != bool(judged.loudness.drowns) else []
    return found


def begin_faults(judged: Judgement, text: str) -> list[str]:
    """The change to begin with, made: it gives back the lowest string, or it gives room."""
    told = text.partition("Change first: ")[2].rstrip(".")
    if not told:
        return []
    chain, thin = judged.chain, judged.thin
    if thin is not None and math.isfinite(thin.does) and told == f"{thin.label} {letter_code(thin.does, thin.unit)}":
        then = Judgement(chain.but({thin.key: thin.does})).sound
        return [] if then.balance_db >= -1.0 else ["begins with what does not mend it"]
    changes = [each for each in more_room(chain) if change_words(chain, each) == told]
    if told == CHANGES["ceiling"]:
        return [] if judged.edges.input_first else ["another input, though this one does not clip first"]
    return [] if changes and changes[0].more_db >= 1.0 else ["begins with what no chapter offers"]


def command_faults(judged: Judgement, told: dict) -> list[str]:
    """What `piezolab figures` prints against the judgement."""
    edges, plug, life, rest = judged.edges, judged.plug, judged.life, judged.working
    pairs = [
        ("edge", told["levels"]["clip_input_v_peak"], edges.chain_v),
        ("room", told["levels"]["input_headroom_db"], edges.headroom_db),
        ("low note", told["response"]["gain_1khz_db"], judged.sound.at_1khz_db),
        ("hum", told["hum"]["to_the_ear_db"], judged.loudness.hum_db),
    ]
    if plug is not None:
        output = told["output"]
        pairs += [("step", output["plug_in_step_v"], plug.step_v), ("settling", output["settle_s"], plug.settle_s),
                  ("direct voltage", output["dc_v"], plug.dc_v)]  # fmt: skip
    if life is not None:
        pairs.append(("life", told["battery"]["life_h"], life.hours))
    of, worth = judged.worth, told["worth"]
    pairs += [("worth of bass", worth["low_note_db"], of.bass_db), ("worth of level", worth["level_db"], of.level_db)]
    found = [name for name, one, other in pairs if not _alike(one, float(other))]
    if (worth["worth_it"], tuple(worth["gains"]), tuple(worth["costs"])) != (of.worth_it, of.gains, of.costs):
        found.append("worth")
    if (told["levels"]["clip_cause"] or "") != edges.chain_cause:
        found.append("cause")
    if rest is not None and (told["bias"]["region"] == "saturation" and told["bias"]["gate"] == "ok") != rest.rest:
        found.append("whether it works")
    return [f"command and judgement differ: {name}" for name in found]


def _alike(one: float | None, other: float) -> bool:
    return not math.isfinite(other) if one is None else math.isclose(one, other, rel_tol=CLOSE, abs_tol=CLOSE)


def room_faults(judged: Judgement, text: str) -> list[str]:
    """Chapter 5's changes: each starts from the chain's room and brings more; none where there is enough."""
    told = re.findall(r"room (−?[\d.]+) → (−?[\d.]+) dB", text)
    pairs = [tuple(float(n.replace("−", "-")) for n in pair) for pair in told]
    found = [] if all(abs(had - judged.edges.headroom_db) < 0.06 for had, _ in pairs) else ["starts from another room"]
    found += ["brings nothing"] if any(has - had < 0.4 for had, has in pairs) else []
    return found + (["enough, and yet more is offered"] if pairs and judged.edges.headroom_db >= 6.0 else [])


def resistor_faults(judged: Judgement) -> list[str]:
    """Chapter 2's backward answer: what it offers breaks no limit that was kept, and it shows before and after."""
    chain, choice = judged.chain, ResistorChoice(series="E12")
    found = best_resistor(chain, Wish(), choice)
    if found is None:
        return []
    brings = improvement(chain, found, Wish(), choice)
    text = solved(chain, found, brings, choice)
    if not brings.brings:
        return ["offered without a benefit"] if "Against your" in text else []
    had, has = limits(judged), limits(Judgement(chain.but(found.changes)))
    kept, keeps = (sum(each.values()) if each["works"] else 0 for each in (had, has))  # as the searches' order counts
    faults = ["spoils more than it mends"] if keeps < kept else []
    lost = [name for name in had if had[name] and not has[name]]
    faults += [f"a cost that is not told: {name}" for name in lost if FAILS[name] not in text and name in brings.costs]
    shown = "Against your" in text and ("→" in text or not brings.before.feasible)
    return faults + ([] if shown else ["no before and after"])


def search_faults(judged: Judgement) -> list[str]:
    """The drawer's table: its first row is this chain, and what fits does so by the judgement."""
    drawer = Drawer((2.2e3, 6.8e3, 22e3, 1e6, 4.7e6), (100e-9, 10e-6), (DrawerTransistor("J113", 6e-3, 1.6),))
    told = search(judged.chain, drawer)
    missed = {name for name, kept in limits(judged).items() if not kept}
    faults = [] if set(told.before.fails) == missed else ["first row"]
    if bool(told.builds) != (told.nearest is None):
        faults.append("neither an offer nor what comes nearest, or both")
    for build in (*told.builds[:2], *([told.nearest] if told.nearest else [])):
        kept = limits(Judgement(as_chain(judged.chain, drawer, build)))
        if set(build.fails) != {name for name, good in kept.items() if not good}:
            faults.append(f"a build's wishes: {build.kind}")
    own_row = "your chain as it is" in answer_html(told, drawer, judged.chain)
    return faults + ([] if own_row else ["no row of the chain as it is"])


def cures_told(chain: SignalChain) -> str:
    """Chapter 5's words on room, and what stands on and under each of its buttons."""
    cures = (f"{cure_words(chain, cure)}: {before_after(cure)}." for cure in level_cures(chain))
    return " ".join([plain(room_words(chain)), *cures])


def types_faults(judged: Judgement, told: str, sheet: str | None) -> list[str]:
    """Chapter 2's other transistors and the sheet's are the same ones."""
    chain = judged.chain
    named = [name for name in other_types(chain) if name != chain.jfet]
    faults = [f"not told: {name}" for name in named if f">{name}" not in told]
    if sheet is not None and named and ", ".join(named) not in sheet:
        faults.append("the sheet names other types")
    if chain.jfet in other_types(chain) and f"Of the {chain.jfet}" in told:
        faults.append("fits, and is told that it does not")
    return faults


def choosing_faults(judged: Judgement, *, deep: bool, sheet: bool) -> tuple[dict[str, str], list[str]]:
    """Texts and faults of the searches; deep: those that take long too; sheet: the printed sheet as well."""
    chain = judged.chain
    told = {"wish": verdict_words(chain, Wish())}
    faults = wish_faults(judged, told["wish"])
    if not deep:
        return told, faults
    told["room"] = cures_told(chain)
    faults += room_faults(judged, told["room"]) + command_faults(judged, figures(chain))
    if chain.topology.powered:
        faults += resistor_faults(judged) + search_faults(judged)
        types = other_types_words(chain)
        told["types"] = plain(types)
        printed = plain(build_sheet(chain)) if sheet else None
        faults += types_faults(judged, types, printed)
        faults += ["the sheet says something else to build"] if printed and what_and_why(chain) not in printed else []
    return told, faults
