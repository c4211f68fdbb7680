"""The state of a page: the chain on the bench, its history, a kept curve, and what was wrong with the opened link.

Controls write the chain, every part of the page reads it. Two things can be observed: `chain`, which moves while a
slider is dragged, and `settled`, which counts the moments at which a change is finished. What is slow to make
(schematic, share row, sections) follows `settled`, and is handed to `at_rest`, which does it once the hand rests.
"""

from __future__ import annotations

import os
from urllib.parse import parse_qsl

import traitlets

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.link import PAGE_KEYS, read_link, to_query, whole_query
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.pages.kit.at_rest import AtRest
from piezolab.pages.kit.examples import Example, examples, own_chain

MOST_STEPS_BACK = 200
MOST_TEXT = 200  # characters of one entry; a tuning has 120 at most
FOLLOWER = "follower"


class PageState(traitlets.HasTraits):
    """The chain that a page is about; see the module.

    problems: sentences about the opened link; trouble: a sentence when something could not be worked out; kept: the
    chain whose curve is kept for comparison; page_words: words of the address that are no part of the chain; played:
    what the chain was last heard as, each version by its name, empty where it has not been played.
    """

    chain = traitlets.Instance(SignalChain)
    kept = traitlets.Instance(SignalChain, allow_none=True)
    played = traitlets.Dict()
    settled = traitlets.Int(0)
    problems = traitlets.Tuple()
    trouble = traitlets.Unicode("")
    can_undo = traitlets.Bool(False)
    can_redo = traitlets.Bool(False)

    def __init__(self, chain: SignalChain | None = None, problems: tuple[str, ...] = (), page_words: str = "") -> None:
        super().__init__(chain=chain if chain is not None else SignalChain(), problems=tuple(problems))
        self.page_words = page_words
        self._back: list[SignalChain] = []
        self._forth: list[SignalChain] = []
        self._dragged = ""
        #: What waits until the hand rests.
        self.at_rest = AtRest(self._tell)
        #: Where starting over leads.
        self.home = SignalChain()
        #: What the page opens on where nobody brought a chain; None outside a served page.
        self.example: Example | None = None
        #: Whether no chain stood in the address, and whether the chain is this browser's own.
        self.bare, self.mine = True, False
        #: Whether the server asked for it, for a page of its own.
        self.served = False

    @classmethod
    def opened(cls, link: str | None = None, slug: str = "") -> PageState:
        """The bench of a page opened with `link`, or with the address that the server passed on; slug: the page's own
        address word. For the order see `opening`.

        Outside a served page there is no address: then it is the default chain. What is wrong with the link is listed
        in `problems`; just those keys have their defaults.
        """
        served = os.environ.get("QUERY_STRING") if link is None else None
        text = served or link or ""
        chain, problems = read_link(text)
        state = cls(chain, tuple(problem.sentence for problem in problems), _page_words(text))
        state.bare = not _chain_words(text)
        state.served = served is not None
        if state.served:
            state._open_on(slug, own_chain(dict(parse_qsl(text)).get("own", "")))
        return state

    def _open_on(self, slug: str, own: SignalChain | None) -> None:
        self.example = None if self.lesson_name else examples().get(slug)
        if self.example is not None:
            self.home = self.example.chain
        if self.bare and not self.lesson_name:
            self.chain = own or self.home
        self.mine = own is not None and self.chain == own

    @property
    def query(self) -> str:
        """The chain's canonical query string."""
        return to_query(self.chain)

    @property
    def whole_query(self) -> str:
        """The same, but never empty."""
        return whole_query(self.chain)

    @property
    def untouched(self) -> bool:
        """Whether this is the page's example as it was opened: another page opens on its own."""
        return self.example is not None and not self.mine and self.chain == self.example.chain

    @property
    def carried(self) -> str:
        """What stands in the address and goes along to another page: nothing while the example is untouched."""
        return "" if self.untouched else self.whole_query

    @property
    def lesson_name(self) -> str:
        """Name of the lesson in the address; "" where there is none."""
        words = dict(parse_qsl(self.page_words))
        return words.get("lesson", "")

    # -- changing -----------------------------------------------------------------------------------------------
    def enter(self, key: str, text: str, *, live: bool = False) -> str:
        """Take the text of one control; returns "" or the sentence that says why it was refused.

        live: the control is still moving: all moves of one drag are one step back. An empty text takes an optional
        value back to where it came from, and nothing else.
        """
        table = all_parameters()
        if key not in table or key == "v":
            return "This page has no such control."
        parameter = table[key].as_typed
        if not isinstance(text, str) or len(text) > MOST_TEXT:
            return f"{parameter.label}: the entry is too long; allowed is {parameter.allowed}."
        try:
            if not text.strip() and parameter.optional_from:
                chain = self.chain.but({key: None})
            else:
                chain = self.chain.but({key: parameter.read(text)})
        except ParameterError as error:
            return str(error)
        except ChainError as error:
            return " ".join(problem.in_field for problem in error.problems)
        self._move(chain, drag=key if live else "", joins=self._dragged == key)
        return ""

    def put(self, chain: SignalChain) -> None:
        """Replace the chain, as one step that can be undone."""
        self._move(chain)

    def open(self, text: str, *, partly: bool = False) -> tuple[str, ...]:
        """Take a shared configuration; returns what was wrong with it. Then nothing changes, unless `partly`: what is
        wrong has its default, as in an opened address, where something could be read at all."""
        if not text.strip():
            return ("link: it is empty; allowed is a link or its part after '?'.",)
        chain, problems = read_link(text)
        if not problems or (partly and chain.entered):
            self.put(chain)
        return tuple(problem.sentence for problem in problems)

    @staticmethod
    def readable(text: str) -> bool:
        """Whether anything of a configuration can be read."""
        return bool(read_link(text)[0].entered)

    def undo(self) -> None:
        """One step back, if there is one."""
        if self._back:
            self._forth.append(self.chain)
            self._show(self._back.pop())

    def redo(self) -> None:
        """One step forth again, if there is one."""
        if self._forth:
            self._back.append(self.chain)
            self._show(self._forth.pop())

    def start_over(self) -> None:
        """The default chain, or that of the lesson; can be undone."""
        self.put(self.home)

    def put_stage_in(self) -> None:
        """A follower instead of no stage; what was entered stays."""
        self.put(self.chain.but(stage=FOLLOWER))

    def keep(self) -> None:
        """Hold this chain's curve for comparison."""
        self.kept = self.chain

    def drop(self) -> None:
        """Forget the kept curve."""
        self.kept = None

    def _move(self, chain: SignalChain, drag: str = "", joins: bool = False) -> None:
        if chain != self.chain:
            if not joins:
                self._back = [*self._back, self.chain][-MOST_STEPS_BACK:]
            self._forth = []
        self._dragged = drag
        self._show(chain, finished=not drag)

    def _tell(self, sentence: str) -> None:
        self.trouble = sentence

    def _show(self, chain: SignalChain, finished: bool = True) -> None:
        if finished:
            self._dragged = ""
        self.at_rest.moved()
        self.chain = chain
        self.can_undo, self.can_redo = bool(self._back), bool(self._forth)
        if finished:
            self.settled += 1


def _page_words(text: str) -> str:
    """The parts of an address's query that belong to the page and stay in it."""
    pieces = (piece for piece in _pieces(text) if piece.partition("=")[0] in PAGE_KEYS - {"own"})
    return "&".join(piece[:200] for piece in pieces)[:400]


def _chain_words(text: str) -> list[str]:
    """The parts that are about the chain, right or wrong."""
    return [piece for piece in _pieces(text) if piece.partition("=")[0] not in PAGE_KEYS]


def _pieces(text: str) -> list[str]:
    return [piece for piece in text.split("?", 1)[-1].split("#", 1)[0].split("&") if piece.strip()]
