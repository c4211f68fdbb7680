"""What was found in the drawer, in words: builds with their reasons, what stands in the way, and what to buy."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.link import whole_query
from piezolab.pages.kit.blocks import Html, paragraphs, row_button, table
from piezolab.pages.kit.drawer_offers import MOST_OFFERS
from piezolab.pages.kit.wish_words import BRINGS, FAILS, WISHES
from piezolab.pages.kit.worth_words import second_brings
from piezolab.quantity import letter_code, show
from piezolab.studies.choosing import offers as o
from piezolab.studies.choosing.drawer import Drawer
from piezolab.studies.choosing.offers import Search
from piezolab.studies.choosing.one_build import Build, Taken, as_chain
from piezolab.studies.choosing.to_buy import Obstacle, ToBuy
from piezolab.studies.choosing.wirings import CAPACITORS

KINDS = {
    "direct": "no stage at all",
    "follower": "a source follower",
    "follower at a tap": "a source follower with its gate at a tap of the source resistor",
    "follower at a divider": "a source follower with its gate at a divider",
    "gain": "a gain stage, source resistor not bridged",
    "gain, bypassed": "a gain stage, source resistor bridged",
    "steady": "a source follower on a steady current",
    "driven": "a gain stage with a source follower",
}
PLACES = {"source_r": "RS", "drain_r": "RD", "gate_r": "RG", "bleed_r": "bleed", "out_c": "output",
          "bypass_c": "bridge", "divider_r": "divider", "divider_c": "divider bypass",
          "steady_r": "steady current", "follow_r": "follower's RS", "hold_r": "holding"}  # fmt: skip
#: What the second transistor of a stage does.
SECONDS = {"steady": "for the steady current", "driven": "as the follower"}
#: Where a bought part goes.
GOES = {"source_r": "as source resistor", "drain_r": "as drain resistor", "gate_r": "as gate resistor",
        "bleed_r": "as bleed resistor", "out_c": "as output capacitor", "bypass_c": "across the source resistor",
        "divider_r": "for the divider, two of them", "divider_c": "across the divider's lower half"}  # fmt: skip
#: Wishes of volts, seconds, pieces: whose margin in dB says nothing to a maker.
NO_LEVELS = ("step_v", "settle_s", "dc_v", "current_a", "life_h", "parts", "cost")
REASONS = {
    o.FIRST: "first choice", o.STAGED: "first with a stage", o.FEWEST: "fewest parts", o.QUIETEST: "quietest",
    o.ROOM: "most room",
    o.LEVEL: "most level", o.BATTERY: "easiest on the battery", o.BASS: "most bass",
    o.CHEAPEST: "cheapest",
}  # fmt: skip


def build_words(build: Build, drawer: Drawer) -> str:
    """A build in one line: kind, transistor, values."""
    said = [KINDS[build.kind]]
    if build.transistor is not None:
        said.append(part_name(drawer, build.transistor))
    if build.second is not None:
        said[-1] += f" for the signal and {part_name(drawer, build.second)} {SECONDS[build.kind]}"
    return ", ".join([*said, *([values_words(build)] if build.takes else [])])


def values_words(build: Build) -> str:
    """The values of a build, each with its place."""
    taken = {each.key: each for each in build.takes}
    return ", ".join(f"{name} {_pieces(taken[key])}" for key, name in PLACES.items() if key in taken)


def part_name(drawer: Drawer, k: int) -> str:
    """A transistor of the drawer by type and name."""
    part = drawer.transistors[k]
    return f"{catalogue.transistors()[part.jfet].type_number}{f' no. {part.name}' if part.name else ''}"


def _pieces(taken: Taken) -> str:
    unit = "F" if taken.key in CAPACITORS else "ohm"
    codes = [letter_code(piece, unit) for piece in taken.pieces]
    if taken.joined:
        return f"{codes[0]} and {codes[1]} in {taken.joined}"
    if taken.key == "divider_r":
        return f"2 × {codes[0]}"
    return " + ".join(codes)


def answer_html(found: Search, drawer: Drawer, chain: SignalChain) -> str:
    """The builds as a table whose buttons put one in (`build-0` and on, `nearest`), or why there is none. chain: that
    they are for."""
    rows = [_row("yours", found.before, "your chain as it is", None)]
    said = ""
    if found.builds:
        for n, build in enumerate(found.builds):
            why = ", ".join(REASONS[reason] for reason in build.reasons)
            words = build_words(build, drawer)
            if build.second_brings is not None:
                words += f". {second_brings(as_chain(chain, drawer, build), build.second_brings)}"
            rows.append(_row(why, build, words, f"build-{n}"))
        if not any(build.brings for build in found.builds):
            said += paragraphs("Your chain can be built from this drawer, and nothing in it does better what you wish.")
    elif found.nearest is not None:
        said += paragraphs(*_in_the_way(found, drawer))
        rows.append(_row("nearest", found.nearest, build_words(found.nearest, drawer), "nearest"))
    sure = "the transistors, the tolerances and the battery's whole life taken in"
    what = f"All {found.tried} builds were looked at" if found.whole else f"{found.tried} builds were looked at"
    head = ("why", "build", "parts", "lowest string", "room", "level", "over hiss", "current", "fit, of 100")
    said += table(head, rows, f"{what}, {sure}.")
    for kind, lacks in found.missing.items():
        words = " and ".join(PLACES.get(key, "a transistor") for key in lacks)
        said += paragraphs(f"For {KINDS[kind]} the drawer lacks: {words}.")
    return said


def _row(why: str, build: Build, words: str, press: str | None) -> tuple[str, ...]:
    figures = build.figures
    more = [BRINGS[name] for name in build.brings if name in BRINGS]
    words += f". Against yours: {', '.join(more)}" if more and build.kind else ""
    if not build.kind:
        fits = "all wishes" if not build.fails else "no: it " + "; it ".join(FAILS[name] for name in build.fails)
    else:
        fits = "" if build.fit is None else f"{100 * build.fit.share:.0f}"
    button = "" if press is None else row_button(press, "put it in", f"put it in: {why}")
    return (
        why, Html(f"{escape(words)} {button}"), f"{build.parts}" if build.kind else "",
        show(figures["low_note_db"], "dB", 2), db(figures["headroom_db"]), db(figures["gain_db"]),
        db(figures["snr_db_a"]), show(figures["current_a"], "A", 2), fits,
    )  # fmt: skip


def _in_the_way(found: Search, drawer: Drawer) -> list[str]:
    """Why nothing fits, and what would help."""
    near = found.nearest
    said = ["Nothing in this drawer fits all wishes with any transistor that it may be, down to a spent battery."]
    if found.obstacle is not None:
        said.append(obstacle_words(found.obstacle))
    said += measure_words(near, drawer)
    said.append("No single part that you could buy would help by itself." if found.buy is None
                else buy_words(found.buy))  # fmt: skip
    return said


def obstacle_words(of: Obstacle) -> str:
    """Which wish stands in the way, and by how much."""
    if len(of.wishes) > 1:
        named = ", and ".join(FAILS[name] for name in of.wishes)
        return f"Several wishes stand in the way; the nearest build misses {len(of.wishes)} at its worst: it {named}."
    name, lack = of.wishes[0], by_how_much(of.lack_db, of.wishes[0])
    rest = "no build that was looked at meets it, even alone" if of.alone else "all other wishes can be had together"
    return f"What stands in the way: that it {WISHES[name]}. It is missed{lack}; {rest}."


def by_how_much(lack_db: float, name: str = "") -> str:
    """A margin that is missed, behind the verb: of a limit that is no level, in per cent of it."""
    if not np.isfinite(lack_db):
        return ""
    if name in NO_LEVELS:
        short = 1 - 10 ** (-lack_db / 20) if name == "life_h" else 10 ** (lack_db / 20) - 1
        return f" by {100 * short:.0f} %"
    return f" by {show(lack_db, 'dB', 2)}"


def measure_words(near: Build, drawer: Drawer) -> list[str]:
    """What measuring the transistors would bring, where the build fits with some of them."""
    if near.transistor is None or near.fit is None or not 0 < near.fit.share < 1:
        return []
    part = drawer.transistors[near.transistor]
    if part.measured:
        return []
    share, name = near.fit.share, part_name(drawer, near.transistor)
    if part.count is None:
        return [f"Measure your {name} first: about {100 * share:.0f} of 100 of them fit in the nearest build."]
    chance = 1 - (1 - share) ** part.count
    return [
        f"Measure your {name} first: in the nearest build about {share * part.count:.1g} of your {part.count} would "
        f"fit, at least one with a chance of {100 * chance:.0f} %."
    ]


def buy_words(buy: ToBuy) -> str:
    """The one part to buy."""
    if buy.jfet is not None:
        what = f"a {catalogue.transistors()[buy.jfet].type_number}"
        where = f"in {KINDS[buy.kind]}"
    else:
        code = letter_code(buy.value, "F" if buy.what == "capacitor" else "ohm")
        what, where = f"a {buy.what} of {code}", f"{GOES[buy.key]} of {KINDS[buy.kind]}"
    if not buy.misses:
        return f"Buy one part and all wishes fit: {what}, {where}."
    left = ", and it ".join(FAILS[name] for name in buy.misses)
    short = by_how_much(buy.lack_db, buy.misses[0] if len(buy.misses) == 1 else "")
    return f"The one part that helps most: {what}, {where}. With it, at the worst{short}: it {left}."


def db(value: float) -> str:
    """A level in dB, which may be without limit."""
    return show(value, "dB", 2) if abs(value) < 1e6 else ("none" if value < 0 else "no limit")


def found_line(builds: Sequence[Build], drawer: Drawer) -> str | None:
    """What the home page says of the last search; None where yours is as good."""
    best = next((build for build in builds if build.brings), None)
    return None if best is None else build_words(best, drawer)[:200]


def offered(builds: Sequence[Build], drawer: Drawer, chain: SignalChain) -> list[list[str]]:
    """The first builds as other chapters find them: why each is named, and the chain (that they are for) with it."""
    return [[REASONS[build.reasons[0]], whole_query(as_chain(chain, drawer, build))] for build in builds[:MOST_OFFERS]]
