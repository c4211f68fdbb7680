"""Chapter 6, "What shall I build from my drawer?": the best builds from the parts at hand, and how parts spread."""

from __future__ import annotations

from dataclasses import replace

import traitlets

from piezolab.chain import SignalChain
from piezolab.pages.kit import two_curves
from piezolab.pages.kit.blocks import Block, paragraphs
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask
from piezolab.pages.kit.wish_words import FAILS
from piezolab.pages.what_shall_i_build_from_my_drawer.bag_sorting import BagSorting
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_panel import DrawerPanel
from piezolab.pages.what_shall_i_build_from_my_drawer.spread_section import SpreadSection
from piezolab.quantity import show
from piezolab.studies.choosing.drawer import CAPACITOR_PERCENT, RESISTOR_PERCENT, Drawer
from piezolab.studies.choosing.spread import spread
from piezolab.studies.choosing.tolerance import TRANSISTOR
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import Wish, judged_figures, missed

SLUG = "what-shall-i-build-from-my-drawer"


class Hopes(traitlets.HasTraits):
    """What is wished of a build, and the drawer it would come from; shared by the panel and the sections."""

    wish = traitlets.Instance(Wish, args=())
    drawer = traitlets.Instance(Drawer, args=())


def missed_wishes(chain: SignalChain, wish: Wish) -> tuple[str, ...]:
    """The wishes that a chain misses with its typical or measured parts, the worst first."""
    return missed(judged_figures(judgement(chain), wish), wish)


def verdict_words(chain: SignalChain, wish: Wish) -> str:
    """Whether the chain fits the wishes."""
    fails = missed_wishes(chain, wish)
    stage = chain.topology
    kind = f"A {stage.title} with a {chain.type_number}" if stage.powered else "This chain without a stage"
    if not fails:
        return f"{kind} fits all your wishes. Look below for what else your drawer would give."
    return f"{kind} does not fit all your wishes: {fails_words(fails)}."


def fails_words(fails: tuple[str, ...]) -> str:
    """What a chain fails in: it gives too little level, and it hisses too much."""
    return ", and ".join(f"it {FAILS[name]}" for name in fails)


def view(chain: SignalChain, kept: SignalChain | None, phase: bool) -> View:
    """The chain's curve beside the bare pickup's."""
    return replace(two_curves.view(chain, kept, phase), verdict="Whether this chain fits your wishes is worked out …")


def headline(chain: SignalChain) -> tuple[str, list[str]]:
    """The verdict for what is wished."""
    return verdict_words(chain, _HOPES.wish), []


_HOPES = Hopes()  # one page in one kernel: the panel sets it, the verdict reads it


# -- tasks --------------------------------------------------------------------------------------------------------
def _share() -> float:
    return 100 * spread(SignalChain(stage="gain", play_v=0.02), RESISTOR_PERCENT, CAPACITOR_PERCENT, Wish()).fits


def _what_matters() -> int:
    found = spread(SignalChain(), RESISTOR_PERCENT, CAPACITOR_PERCENT, Wish(low_note_db=None, gain_db=None))
    return 0 if next(iter(found.matters), TRANSISTOR) == TRANSISTOR else 1


def _fits(chain: SignalChain) -> tuple[bool, str]:
    fails = missed_wishes(chain, Wish(low_note_db=1.0, headroom_db=3.0, gain_db=-3.0))
    if fails:
        return False, f"Not yet: {fails_words(fails)}."
    return True, "Right: bass, 3 dB of room and hardly any level lost."


TASKS = (
    MakeTask(
        "drawer-fits",
        "Find a build with 3 dB of room for hard playing that keeps the bass within 1 dB and loses no more than 3 dB.",
        "Ask for 3 dB of room in the form and put one of the answers in.",
        judge=_fits,
    ),
    NumberTask(
        "drawer-share",
        "Default gain stage, hard playing of 20 mV: of a hundred builds from one bag, about how many fit the usual "
        "wishes?",
        "Set it up and read “how builds spread”.",
        right=_share,
        within=0.1,
        explain="Parts of one type differ more than any resistor does.",
    ),
    PickTask(
        "drawer-matters",
        "What decides most whether a follower from a bag of J113 has room for hard playing?",
        "Look at what matters most.",
        options=("The transistor you happen to take.", "The resistors' 5 %."),
        right=_what_matters,
        told=(
            "V_GS(off) differs by several times from part to part.",
            "Five per cent is little beside the transistor.",
        ),
    ),
)

MATHS = r"""
<p>Every way to wire a stage is laid out with the values of the drawer. What rests badly with any part that the
transistor may be, from a fresh battery to a spent one, is dropped. Of the rest a coarse grid is looked at, then the
neighbours of the best, until none is better. Only where there are few builds are all looked at; elsewhere the best is
the best that was found.</p>
<p>Each build counts by its worst: three parts of the type from the 1st to the 99th of a hundred, fresh and spent
battery; of two transistors the four pairs of those ends, and the middle. A second one is offered only where it brings
something against the same stage without it.
Of what is offered 1000 are drawn afresh with the tolerances, in rooms up to 15 K warmer or colder, and at
least 97.5 % of them fit beyond doubt.
Fewest missed wishes come first, then transistors that you measured, then the plainest stage, then the room to
spare.</p>
<p>For the spread, parts lie anywhere within their tolerance, the transistor is drawn from its type, the room's
temperature lies evenly about the one entered, and the battery anywhere between fresh and spent. What a part makes of
the spread is $$T_k = \frac{\mathrm{E}\left(\mathrm{Var}[y\,|\,x_{\sim k}]\right)}{\mathrm{Var}(y)}$$ the part of
the figure's variance that stays when all other parts are known: found by putting that part alone of one build into
another.</p>
<p>Two transistors match by their distance in the plane of the logarithms of V<sub>GS(off)</sub> and I<sub>DSS</sub>, in
which their type's population has unit spread each way.</p>
<p>Sources: M. J. W. Jansen, Comput. Phys. Commun. 117 (1999) 35; P. C. Mahalanobis, Proc. Nat. Inst. Sci. India 2
(1936) 49. Parts evenly within their tolerance, the room: common practice, no source.</p>
"""

CHAPTER = Chapter(
    slug=SLUG,
    own=("stage", "jfet", "source_r", "play_v"),
    view=view,
    headline=headline,
    table=two_curves.numbers,
    tasks=TASKS,
    maths=MATHS,
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    from dataclasses import replace

    state = PageState.opened(link, SLUG)
    _HOPES.wish, _HOPES.drawer = Wish(), Drawer()
    spreads = SpreadSection(state, lambda: (_HOPES.drawer, _HOPES.wish))

    def wished(wish: Wish, drawer: Drawer) -> None:
        _HOPES.wish, _HOPES.drawer = wish, drawer
        spreads.refresh()
        sorting.refresh()

    panel = DrawerPanel(state, wished)
    sorting = BagSorting(state, panel.stock)
    panel.bagged = sorting.refresh
    usual = Block("hint", paragraphs(usual_words()), title="")
    page = Page(replace(CHAPTER, lead=lambda state: [panel], more=lambda state: [usual, sorting, spreads]), state)
    panel.kept_in(page.keepsake)
    page.drawer, page.sorting, page.spreads = panel, sorting, spreads
    return page


def usual_words() -> str:
    """What is wished where nothing else was asked for."""
    usual = Wish()
    return (
        "Transistors that you measured are looked at, too. "
        f"Unless you ask for something else: the lowest string within {show(usual.low_note_db, 'dB')}, room for hard "
        f"playing, no more than {show(-usual.gain_db, 'dB')} of level lost, a thump of at most "
        f"{show(usual.step_v, 'V')} on plugging in that is gone in {show(usual.settle_s, 's')}, and at most "
        f"{show(usual.dc_v, 'V')} of direct voltage on the jack. All these limits are our own."
    )


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
