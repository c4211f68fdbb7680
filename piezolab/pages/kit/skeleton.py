"""What every chapter's page is made of: a chapter says what it shows as a `Chapter`, `Page` builds it and keeps it up
to date, `page_layout` says in which order."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, whole_query
from piezolab.circuit.errors import CircuitError
from piezolab.lessons.screens import pieces
from piezolab.pages.kit.address import Address
from piezolab.pages.kit.blocks import Block, Buttons, Look, bullets, paragraphs
from piezolab.pages.kit.controls import Controls, Group, folded_groups, with_rest_controls
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.lesson_steps import lesson_parts
from piezolab.pages.kit.opened_lesson import opened_lesson
from piezolab.pages.kit.opened_lesson import tasks as lesson_tasks
from piezolab.pages.kit.page_bar import bar_buttons
from piezolab.pages.kit.page_layout import laid_out
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.player import Find, Player
from piezolab.pages.kit.plot import Plot
from piezolab.pages.kit.share import Share
from piezolab.pages.kit.tasks import Task

Parts = Callable[[PageState], Sequence[Any]]
#: Traces, layout, narrow layout and label of a figure, from the chain and the kept one.
Other = Callable[[SignalChain, SignalChain | None], tuple[Any, Any, Any, str]]


@dataclass(frozen=True)
class View:
    """What moves with a slider.

    traces, layout, narrow: the figure, as `Plot.set` takes it; label: the figure in words, for who cannot see it;
    verdict: what one will hear, in one or two sentences; advice: what would help.
    """

    traces: Sequence[Mapping[str, Any]]
    layout: Mapping[str, Any]
    narrow: Mapping[str, Any]
    label: str
    verdict: str = ""
    advice: Sequence[str] = ()


@dataclass(frozen=True)
class Chapter:
    """One chapter's page.

    slug: its address word; own: the keys of its own two to four controls; view: from the chain, the kept chain or None,
    and whether phase is wanted on narrow plots too; table: HTML of the numbers; maths: HTML with formulas between
    dollar signs and their source; certainty: how far the figures can be trusted; needs_stage: it has nothing to
    show without; has_phase: its figure has a lower panel, and lower: what that shows; drawn_on, listed_on: what
    moves headline and figure, and the numbers, in the state; a figure that takes too long to follow a slider is not
    drawn on "chain"; words: verdict and advice where the figure does not wait for them, made while the browser draws;
    headline: the same where they take much longer, made when the hand rests (the view's verdict stands until the
    first is there); short: the verdict beside a lesson's step, else its first words are taken; keeps: it compares with
    a kept curve; touch: the one change that the page offers beside the sound, which then stands above the controls;
    other: name of a second figure in the first one's place, and what makes it when the hand rests; clips: the sound
    clips; plot_px: height of its figure where there is room; folds_numbers: the numbers are many, and shut at first.
    Parts: lead, what the page opens with; under, between verdict and figure; beside, below the figure; settings, below
    its own controls; more, the chapter's own job, below all that.
    """

    slug: str
    own: tuple[str, ...]
    view: Callable[[SignalChain, SignalChain | None, bool], View]
    table: Callable[[SignalChain], str]
    tasks: tuple[Task, ...] = ()
    maths: str = ""
    certainty: str = "These figures are estimates from typical data, not a certificate."
    needs_stage: bool = False
    has_phase: bool = True
    lower: str = "phase"
    drawn_on: tuple[str, ...] = ("chain",)
    listed_on: tuple[str, ...] = ("settled",)
    words: Callable[[SignalChain], tuple[str, Sequence[str]]] | None = None
    headline: Callable[[SignalChain], tuple[str, Sequence[str]]] | None = None
    short: Callable[[SignalChain], str] | None = None
    keeps: bool = True
    touch: Find | None = None
    other: tuple[str, Other] | None = None
    clips: bool = False
    plot_px: int = 470
    folds_numbers: bool = False
    lead: Parts = field(default=lambda state: ())
    under: Parts = field(default=lambda state: ())
    beside: Parts = field(default=lambda state: ())
    settings: Parts = field(default=lambda state: ())
    more: Parts = field(default=lambda state: ())


class Page:
    """A chapter with a bench, kept up to date; `widget` is what the notebook shows."""

    def __init__(self, chapter: Chapter, state: PageState) -> None:
        opened = opened_lesson(state)
        self.lesson = opened.lesson
        if self.lesson is not None:  # its controls and tasks, and nothing folded away beside them
            chapter = replace(chapter, own=self.lesson.every_control, tasks=tuple(lesson_tasks(self.lesson)))
        else:
            chapter = replace(chapter, own=with_rest_controls(chapter.own))
        self.chapter, self.state = chapter, state
        state.at_rest.hold()
        self._phase = self._other = False
        self.look = Look()
        self.problems = Block("problems")
        self.verdict = Block("verdict", spoken=True)
        self.plot = Plot(height_px=chapter.plot_px)
        # before all others: while the figure is on its way they do what they have to
        state.observe(lambda _: self._draw(), [*chapter.drawn_on, "kept"])
        self.bar = Buttons("this page", {
            "undo": state.undo, "redo": state.redo, "over": state.start_over, "keep": state.keep, "drop": state.drop,
            "phase": self._turn_phase, "other": self._turn_other,
        })  # fmt: skip
        self.own = Controls(state, [Group(chapter.own)], "the controls of this question")
        self.stage_in = Buttons("the stage", {"stage": state.put_stage_in})
        self.advice = Block("advice")
        others = folded_groups(without=chapter.own) if self.lesson is None else []
        self.folded = Controls(state, others, "all other controls")
        touch = chapter.touch if self.lesson is None else None
        compact = touch is not None or self.lesson is not None
        more = {} if self.lesson is None else {"more": "volume"}
        self.player = Player(state, touch=touch, clips=chapter.clips, compact=compact, **more)
        self.schematic = Block("schematic", title="The circuit")
        self.table = Block("numbers", title="The numbers", folded=chapter.folds_numbers)
        self.steps, self.tasks, self.lesson_head = lesson_parts(state, opened, chapter.tasks, self.own, chapter.slug)
        self.address = Address(state)
        self.share = Share(state, self.address)
        self.keepsake = Keepsake()
        self.widget = laid_out(self)
        self._connect()

    def _connect(self) -> None:
        state, chapter = self.state, self.chapter
        state.at_rest.changed = self._tell_waiting
        self._tell_waiting()
        if "chain" not in chapter.drawn_on:
            state.observe(lambda _: self.stick.add_class(_OLD), "chain")
        state.observe(lambda _: self._list(), list(chapter.listed_on))
        state.observe(lambda _: self._draw_circuit(), "settled")
        state.observe(lambda _: self._show_problems(), ["problems", "trouble"])
        state.observe(lambda _: self._show_bar(), ["can_undo", "can_redo", "kept"])
        state.observe(lambda _: self.keepsake.keep("curve", _curve_text(state.kept)), "kept")
        self.tasks.observe(lambda _: self._keep_tasks(), "done")
        self.keepsake.use("curve", self._given_curve)
        self.keepsake.use("tasks", self._given_tasks)
        self._draw()
        self._list()
        self._draw_circuit()
        self._show_problems()
        self._show_bar()

    def _tell_waiting(self) -> None:
        self.look.waiting = self.state.at_rest.waiting

    # -- what follows the chain ---------------------------------------------------------------------------------
    def _draw(self) -> None:
        try:
            self._draw_chain()
        finally:
            if not self._other:
                self.stick.remove_class(_OLD)

    def _draw_chain(self) -> None:
        state = self.state
        missing = self.chapter.needs_stage and not state.chain.topology.powered
        self._offer_stage(missing)
        if missing:
            state.at_rest.drop((self, "headline"))
            self.verdict.content = paragraphs("This question is about a stage, and this chain has none.")
            self.verdict.old = False
            self.plot.set([], label="nothing to draw without a stage")
            return
        try:
            self._show(self.chapter.view(state.chain, state.kept, self._phase))
        except CircuitError as error:
            state.trouble = f"This chain could not be worked out: {error}"
        except MemoryError:  # not raised again: its traceback would be kept, and keep what it had made
            state.trouble = "This needs more memory than a page has; what you see is of an earlier chain. Press undo."
        except Exception:
            state.trouble = "Something went wrong in this page; what you see is of an earlier chain. Press undo."
            raise
        else:
            state.trouble = ""

    def _show(self, view: View) -> None:
        """The figure first: the browser draws it while the words are made."""
        chapter, state = self.chapter, self.state
        if self._other:
            self.stick.add_class(_OLD)
            state.at_rest.put((self, "other"), self._late_other)
        else:
            self.plot.set(view.traces, view.layout, narrow=view.narrow, label=view.label)
        if chapter.headline is not None:
            self.verdict.content = self.verdict.content or paragraphs(view.verdict)
            self.verdict.old = True
            state.at_rest.put((self, "headline"), self._late_headline)
            return
        verdict, advice = (view.verdict, view.advice) if chapter.words is None else chapter.words(state.chain)
        self._head(verdict, advice)
        if not self._other:
            self.plot.label = f"{view.label} {verdict}"

    def _head(self, verdict: str, advice: Sequence[str]) -> None:
        if self.steps is not None:
            short = self.chapter.short
            first, *rest = [short(self.state.chain), verdict] if short else pieces(verdict, MOST_SAID)
            verdict, advice = first, (*rest, *advice)
        self.verdict.content = paragraphs(verdict)
        self.advice.content = paragraphs(*advice)

    def _late_headline(self) -> None:
        verdict, advice = self.chapter.headline(self.state.chain)
        self._head(verdict, advice)
        self.verdict.old = False

    def _late_other(self) -> None:
        traces, layout, narrow, label = self.chapter.other[1](self.state.chain, self.state.kept)
        self.plot.set(traces, layout, narrow=narrow, label=label)
        self.stick.remove_class(_OLD)

    def _offer_stage(self, missing: bool) -> None:
        # in a lesson it may be what a step asks for
        spare = self.steps is None and not self.player.touches
        offered = missing or (spare and not self.state.chain.topology.powered)
        self.stage_in.show([{"word": "stage", "label": "put a follower in"}] if offered else [])

    # -- what waits until the hand rests ------------------------------------------------------------------------
    def _list(self) -> None:
        self.state.at_rest.put((self, "numbers"), self._numbers)

    def _numbers(self) -> None:
        chain = self.state.chain
        missing = self.chapter.needs_stage and not chain.topology.powered
        self.table.content = "" if missing else self.chapter.table(chain)

    def _draw_circuit(self) -> None:
        self.state.at_rest.put((self, "circuit"), self._circuit)

    def _circuit(self) -> None:
        chain = self.state.chain
        if self.chapter.needs_stage and not chain.topology.powered:
            return
        from piezolab.sheets.schematic import schematic_svg

        self.schematic.content = f'<div class="pz-scroll">{schematic_svg(chain)}</div>'

    def _show_problems(self) -> None:
        said = []
        if self.state.problems:
            said.append("<h2>The opened link has mistakes. These values have their defaults:</h2>")
            said.append(bullets(self.state.problems))
        said.append(paragraphs(self.state.trouble))
        self.problems.content = "".join(said)

    def _show_bar(self) -> None:
        self.bar.show(bar_buttons(self.state, self.chapter, self._phase, self._other))

    def _turn_phase(self) -> None:
        self._phase = not self._phase
        self._show_bar()
        self._draw()

    def _turn_other(self) -> None:
        self._other = not self._other
        self._show_bar()
        self.state.at_rest.drop((self, "other"))
        self._draw()

    # -- what the browser kept ----------------------------------------------------------------------------------
    def _given_curve(self, text: str) -> None:
        if self.state.kept is None:
            self.state.kept = from_link(text)

    def _given_tasks(self, done: Mapping[str, bool]) -> None:
        own = {task.name for task in self.chapter.tasks}
        self._all_done = dict(done)
        self.tasks.done = [name for name in done if name in own]
        if self.steps is not None:
            self.steps.resume()

    def _keep_tasks(self) -> None:
        self._all_done = {**getattr(self, "_all_done", {}), **dict.fromkeys(self.tasks.done, True)}
        self.keepsake.keep("tasks", self._all_done)


MOST_SAID = 20  # words of a verdict beside a lesson's step; the rest is said with the advice, below
#: Class of a verdict and a figure that are still those of an earlier chain.
_OLD = "pz-old"


def _curve_text(kept: SignalChain | None) -> str | None:
    return None if kept is None else whole_query(kept)
