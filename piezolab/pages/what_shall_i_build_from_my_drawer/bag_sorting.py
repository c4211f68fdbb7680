"""Which measured transistor goes where, which two match, which to put aside: under a heading that is shut at first."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import traitlets
from ipywidgets import VBox

from piezolab import catalogue
from piezolab.chain import ChainError, SignalChain
from piezolab.pages.kit.blocks import Html, PressedTable, bullets, paragraphs, row_button, table
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import Foldable, Following
from piezolab.pages.kit.wish_words import FAILS
from piezolab.pages.kit.worth_words import second_sentence
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_answer import (
    GOES,
    KINDS,
    PLACES,
    db,
    part_name,
    values_words,
)
from piezolab.quantity import letter_code, show
from piezolab.studies.choosing import sorting as s
from piezolab.studies.choosing.drawer import Drawer
from piezolab.studies.choosing.matching import Pair
from piezolab.studies.choosing.one_build import as_chain, surroundings
from piezolab.studies.choosing.steady_pair import SteadyPair, steady_pair
from piezolab.studies.choosing.wirings import CAPACITORS
from piezolab.studies.judging.wish import Wish
from piezolab.studies.judging.worth import second_worth

MOST_PARTS = 40
NONE_MEASURED = (
    "No transistor here is measured. Two readings with two resistors name one: “Measure yours” in the chapter "
    "“Will this transistor do?”. Those of its bag are sorted here."
)
_FIGURES = {"idss": "I_DSS", "vgsoff": "V_GS(off)"}


class BagSorting(VBox, Following):
    """The section. stock: gives the drawer, bag included, and the wish; raises FieldError (a ValueError) where what is
    typed cannot be read."""

    found = traitlets.Instance(s.SortedBag, allow_none=True)

    def __init__(self, state: PageState, stock: Callable[[], tuple[Drawer, Wish]]) -> None:
        self._stock = stock
        self.drawer, self._asked = Drawer(), None
        self.head = Foldable("sorting", "Which of your transistors goes where?", folded=True)
        doers = {f"sort-{n}": self._doer(n) for n in range(MOST_PARTS)}
        self.pair: SteadyPair | None = None
        self.shown = PressedTable("sorted", {**doers, "sort-pair": self._put_pair})
        super().__init__([self.head, self.shown])
        self.head.observe(lambda _: self._place(), "opened")
        self._follow(state, self.head, self._sort, "settled")
        self._place()

    def _place(self) -> None:
        self.shown.layout.display = None if self.head.opened and self.shown.content else "none"

    def _failed(self, sentence: str) -> None:
        super()._failed(sentence)
        self.shown.content = ""
        self._place()

    def _sort(self) -> None:
        try:
            drawer, wish = self._stock()
            around = surroundings(self._state.chain)
            if (drawer, wish, around) != self._asked:
                self.found = s.sorted_bag(self._state.chain, drawer, wish)
                self.pair = steady_pair(self._state.chain, drawer, [each.place for each in self.found.goes])
                self.drawer, self._asked = drawer, (drawer, wish, around)
        except (ChainError, ValueError) as error:
            self._failed(str(error))
            return
        self.head.content = paragraphs("" if self.found.places else NONE_MEASURED)
        said = sorted_html(self.found, self.drawer) if self.found.places else ""
        self.shown.content = said + steady_html(self._state.chain, self.pair, self.drawer)
        self._place()

    def _doer(self, n: int) -> Callable[[], None]:
        def use() -> None:
            if self.found is not None and n < len(self.found.goes):
                self._state.put(as_chain(self._state.chain, self.drawer, self.found.goes[n].build))

        return use

    def _put_pair(self) -> None:
        if self.pair is not None:
            self._state.put(self._state.chain.but(self.pair.changes))


def sorted_html(found: s.SortedBag, drawer: Drawer) -> str:
    """Where each part goes with a button (`sort-0` and on), which two match best, and what to put aside."""
    rows = []
    for n, suited in enumerate(found.goes):
        build, name = suited.build, part_name(drawer, suited.place)
        button = row_button(f"sort-{n}", "put it in", f"put it in: {name}")
        words = escape(values_words(build) + _fetched(build, drawer))
        fit = "" if build.fit is None else f"{100 * build.fit.share:.0f}"
        rows.append((
            name, place_words(suited, found, drawer), Html(f"{words} {button}"), db(build.figures["headroom_db"]),
            db(build.figures["gain_db"]), fit,
        ))  # fmt: skip
    said = ""
    if rows:
        head = ("transistor", "goes into", "build", "room", "level", "fit, of 100")
        said += table(head, rows, "Each with the resistors of your drawer, from a fresh battery to a spent one.")
    else:
        said += paragraphs("None of the measured transistors fits your wishes with the parts of this drawer.")
    said += paragraphs(pair_words(found, drawer))
    aside = [aside_words(each, drawer) for each in found.aside]
    if aside:
        said += paragraphs("To put aside:") + bullets(aside)
    for kind, lacks in found.missing.items():
        if not rows:
            words = " and ".join(PLACES.get(key, "a transistor") for key in lacks)
            said += paragraphs(f"For {KINDS[kind]} the drawer lacks: {words}.")
    return said


def steady_html(chain: SignalChain, pair: SteadyPair | None, drawer: Drawer) -> str:
    """Which two make a follower on a steady current, with a button (`sort-pair`), and whether the second transistor is
    worth its solder; "" where no two do."""
    if pair is None:
        return ""
    made = chain.but(pair.changes)
    upper, lower = part_name(drawer, pair.upper), part_name(drawer, pair.lower)
    said = (
        f"For a {made.topology.title}: {upper} takes the signal, {lower} draws the current, with "
        f"{letter_code(pair.ohm, 'ohm')} at {show(pair.current_a, 'A', 2)}; both keep {show(pair.room_v, 'V', 2)} of "
        f"room down to a spent battery. {second_sentence(made, second_worth(made))}"
    )
    return f"<p>{escape(said)} {row_button('sort-pair', 'put it in', f'put it in: {made.topology.title}')}</p>"


def place_words(suited: s.Suited, found: s.SortedBag, drawer: Drawer) -> str:
    """The stage a part goes into, and how it stands there among the others."""
    stage = KINDS[suited.build.kind]
    there = [row.place for row in found.stages[suited.build.kind]]
    rank = there.index(suited.place)
    if len(there) == 1:
        return f"{stage}: the only one of the bag that fits there"
    return f"{stage}: {f'after {part_name(drawer, there[rank - 1])}' if rank else 'the best of the bag for it'}"


def _fetched(build: s.Build, drawer: Drawer) -> str:
    """What of a build is to be bought."""
    pieces = s.to_fetch(build, drawer)
    told = [f"{letter_code(value, 'F' if key in CAPACITORS else 'ohm')} {GOES[key]}" for key, value in pieces]
    return f". To buy: {', '.join(told)}" if told else ""


def pair_words(found: s.SortedBag, drawer: Drawer) -> str:
    """The two that match best, and by what."""
    if not found.pairs:
        return "" if len(found.goes) < 2 else "No two of these are of one type: nothing to match."
    pair: Pair = found.pairs[0]
    one, other = (part_name(drawer, k) for k in sorted((pair.first, pair.second)))
    level = show(pair.level_db, "dB", 2) if pair.level_db >= 0.1 else "less than 0.1 dB"
    alike = f"about {1000 * pair.blindly:.0f} of 1000" if pair.blindly >= 0.0015 else "at most 1 of 1000"
    return (
        f"Best match, for two stages that shall sound alike: {one} and {other}. With the same resistors their levels "
        f"differ by {level} and their source voltages at rest by {show(pair.rest_v, 'V', 2)}; "
        f"{alike} pairs taken blindly from the type match as well, by V_GS(off) and I_DSS together."
    )


def aside_words(each: s.Aside, drawer: Drawer) -> str:
    """Why a part is put aside, in a sentence."""
    name, kind = part_name(drawer, each.place), drawer.transistors[each.place].jfet
    number = catalogue.transistors()[kind].type_number
    if each.why == s.OUTSIDE:
        which = " and ".join(_FIGURES[key] for key in each.outside)
        return f"{name}: its {which} is not that of any {number}; measure it again, or it is of another type."
    if each.why == s.UNLIKELY:
        return (
            f"{name}: its I_DSS does not go with its V_GS(off) in any {number}; measure it again, or it is of another "
            "type."
        )
    if each.why == s.IDLE:
        return f"{name}: with no resistor of this drawer it works down to a spent battery in any stage."
    fails = ", and it ".join(FAILS[key] for key in each.misses)
    return f"{name}: in its nearest build, {KINDS[each.nearest.kind]}, it {fails}."
