"""Hear it: one note through the chain, bare, with its stage, and through the kept chain, in turns.

Nothing is made before a button is pressed; then the sounds are worked out once for a chain and a choice, sent as one
WAV file that is a loop, and the browser keeps it until the chain changes. The browser plays through its audio graph and
not through an `audio` element, whose volume some phones do not let a page change.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import traitlets

from piezolab.audio import AudioError
from piezolab.audio.processing import wav
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece, number_in, script, text_in
from piezolab.pages.kit.sentences import decibel_words, heard, lowest
from piezolab.pages.kit.touch_words import Offer
from piezolab.quantity import decibels
from piezolab.studies.knock import KNOCK_V
from piezolab.studies.listening import (
    BARE,
    KEPT,
    KNOCKS,
    LEVELS,
    MATCHED,
    PEAK,
    SOUNDS,
    STAGE,
    Balance,
    Heard,
    Table,
    balances,
    hiss_table,
    hum_table,
    in_turns,
    listen_to,
    versions,
)

ChainTable = Callable[[SignalChain], Table]
Find = Callable[[SignalChain], Offer | None]

#: Where the volume stands at first and how far down it goes, dB; at 0 dB the loudest sample is `PEAK` of full scale.
START_DB, LOWEST_DB = -20, -50

CAUTION = f"Volume down, headphones off first; starts {abs(START_DB)}\u00a0dB down."
IN_A_ROOM = "In a room use headphones, once you know how loud it is."
MORE = "Volume, note and level"
SMALL = "On a small loudspeaker listen for body, not for depth."
AT_MOST = (
    f"At the top of the volume the loudest moment lies {abs(decibels(PEAK)):.0f}\u00a0dB under the most that your "
    "device can put out; nothing goes above that."
)
ABOUT = (
    "Worked out from the arithmetic of a plucked string, at normal playing (10 dB under hard). No wood, no room, no "
    "clipping: only what pickup, stage, cable and input do to it."
)
ABOUT_CLIPPING = (
    "Worked out from the arithmetic of a plucked string, at hard playing. Transistor, capacitors and the input's "
    "ceiling are followed from instant to instant; a note that goes too far for that is bent as one of 1 kHz is, and "
    "then it says so. No wood, no room: only what pickup, stage, cable and input do to it."
)
TOO_FAR = "clips too far to be followed from instant to instant; it is bent as a note of 1 kHz is."
NAMES = {BARE: "bare pickup", STAGE: "with the stage", KEPT: "kept curve"}
INSTRUMENTS = {
    "lowest": "Your lowest string, {}",
    "dulcimer": "Stick dulcimer, {}",
    "bass": "Tea-chest bass, {}",
    "thumb-piano": "Thumb piano, {}",
}
LEVEL_NAMES = {MATCHED: "equally loud, to compare the tone", "true": "true level against each other"}
KNOCKS_NAME = f"Two knocks, {KNOCK_V:.0f} V, over your lowest string"
NO_NOTE = "A knock is no note: what it does, and how long the stage is silent after it, is told under the knock."
BACK = "put it back as it was"
GONE = "The chain has changed since; what is offered for it now stands there in a moment."
FAILED = "The sound could not be made; what went wrong is in the server's log."


class Player(Piece):
    """The player of a page; it follows the state's chain and kept chain, and plays them in turns, in one loop.

    hiss, hum: tables of a chain as `listen` takes them, or None where that is not offered. They are only asked for
    when a listener has ticked them. touch: the one change that the page offers for a chain, or None; one press makes
    it and plays before and after, a second one takes it back. clips: whether the sound clips, at hard playing. compact:
    it stands beside the controls, its heading unseen; more: the words on its fold.

    In the browser the element carries ``data-state`` (idle, waiting, playing, failed) and, of what played last,
    ``data-turns``, ``data-seconds`` and ``data-peak``.
    """

    _esm = script("player.js")
    _css = STATIC / "player.css"
    words = {
        "play": "_asked_for_sound", "again": "_played_again", "touch": "_touched", "back": "_taken_back",
        "describe": "_asked_for_words",
    }  # fmt: skip

    #: What can be chosen: lists of [word, text].
    versions = traitlets.List().tag(sync=True)
    sounds = traitlets.List().tag(sync=True)
    levels = traitlets.List(list(map(list, LEVEL_NAMES.items()))).tag(sync=True)
    noises = traitlets.List().tag(sync=True)
    told = traitlets.Dict().tag(sync=True)
    about = traitlets.Unicode(ABOUT).tag(sync=True)
    start_db = traitlets.Int(START_DB).tag(sync=True)
    lowest_db = traitlets.Int(LOWEST_DB).tag(sync=True)
    peak = traitlets.Float(PEAK).tag(sync=True)
    compact = traitlets.Bool(False).tag(sync=True)
    #: The change that is offered: label, and whether pressing takes it back; empty where there is none.
    touch = traitlets.Dict().tag(sync=True)
    #: Counts changes of the chains: what the browser has kept of an earlier one is stale.
    revision = traitlets.Int(0).tag(sync=True)

    def __init__(
        self,
        state: PageState,
        *,
        hiss: ChainTable | None = hiss_table,
        hum: ChainTable | None = hum_table,
        touch: Find | None = None,
        clips: bool = False,
        compact: bool = False,
        more: str = MORE,
    ) -> None:
        told = {"caution": CAUTION, "room": IN_A_ROOM, "small": SMALL, "most": AT_MOST, "more": more}
        super().__init__(compact=compact, about=ABOUT_CLIPPING if clips else ABOUT, told=told)
        self._state, self._clips = state, clips
        self._find, self._offer, self._made_touch = touch, None, False
        self._noise = {"hiss": hiss, "hum": hum}
        self._made: tuple[Any, dict[str, Heard]] | None = None
        self.noises = [[word, f"with {word}"] for word, table in self._noise.items() if table is not None]
        state.observe(lambda _: self._follow(), ["chain", "kept"])
        self._follow()
        if touch is not None:
            state.observe(lambda _: self._look_for_touch(), "settled")
            self._look_for_touch()

    @property
    def touches(self) -> bool:
        """Whether it offers changes."""
        return self._find is not None

    def _follow(self) -> None:
        with self.hold_sync():
            self.versions = [[word, self.names[word]] for word in self._chains()]
            self.sounds = self._offered()
            self.revision += 1
        self._made = None
        self._state.played = {}

    @property
    def names(self) -> Mapping[str, str]:
        """What each version is called, by its word, in their order."""
        return NAMES

    def _chains(self) -> dict[str, SignalChain]:
        """The versions that can be heard, by their words."""
        return versions(self._state.chain, self._state.kept)

    def _offered(self) -> list[list[str]]:
        """The sounds that can be chosen, each with its name."""
        sounds = [[word, INSTRUMENTS[word].format(_note_name(word, self._state.chain))] for word in SOUNDS]
        return [*sounds, [KNOCKS, KNOCKS_NAME]] if self._clips else sounds

    # -- the one change -----------------------------------------------------------------------------------------
    def _look_for_touch(self) -> None:
        self._state.at_rest.put((self, "touch"), self._offer_touch)

    def _offer_touch(self) -> None:
        chain = self._state.chain
        if self._made_touch and self._offer is not None and chain == self._offer.touch.after:
            self.touch = {"label": BACK, "back": True}
            return
        self._made_touch = False
        if self._offer is None or chain != self._offer.touch.before:
            self._offer = self._find(chain)
        self.touch = {} if self._offer is None else {"label": self._offer.label, "back": False}

    def _touched(self, content: dict[str, Any]) -> None:
        """Make the change, and play before and after."""
        if self._offer is None or self._made_touch or self._offer.touch.before != self._state.chain:
            self.send({"word": "sound", "serial": number_in(content, "serial"), "problem": GONE})
            return
        offer, self._made_touch = self._offer, True
        self._state.put(offer.touch.after)
        self._answer(content, dict(zip(("before", "after"), offer.touch.heard, strict=True)), offer)

    def _taken_back(self, _content: dict[str, Any]) -> None:
        if self._made_touch and self._offer is not None and self._state.chain == self._offer.touch.after:
            self._state.put(self._offer.touch.before)

    # -- asked by the browser -----------------------------------------------------------------------------------
    def _asked_for_sound(self, content: dict[str, Any]) -> None:
        self._answer(content, self._chains())

    def _played_again(self, content: dict[str, Any]) -> None:
        """The browser had it still: what follows what is heard may follow."""
        there = [word for word, table in self._noise.items() if table is not None]
        with contextlib.suppress(AudioError, CircuitError):  # it was told when it was first asked for
            _, *choice = _choice(content, there, [word for word, _ in self.sounds], self.names)
            found = self._listened(tuple(choice), self._chains())
            self._state.played = {self.names[word]: one for word, one in found.items()}

    def _answer(self, content: dict[str, Any], chains: Mapping[str, SignalChain], offer: Offer | None = None) -> None:
        """Send one loop in which some chains have their turns."""
        asked = {"word": "sound", "serial": number_in(content, "serial"), "revision": self.revision}
        there = [word for word, table in self._noise.items() if table is not None]
        try:
            turns, *choice = _choice(content, there, [word for word, _ in self.sounds], self.names)
            if offer is not None:
                turns, names = list(chains), dict(zip(chains, offer.heard, strict=True))
                choice[2] = tuple(word for word in there if word in (*choice[2], *offer.noises))
            else:
                names = self.names
            if missing := [word for word in turns if word not in chains]:
                raise AudioError(f"version: {missing[0]!r} is not there; {', '.join(chains)} can be heard.")
            found = self._listened(tuple(choice), chains)
            said = " ".join(filter(None, (_said(names[word], found[word], choice[1]) for word in turns)))
            said = f"{offer.brings} {said}".strip() if offer else said
            loop = wav(in_turns([found[word].signal for word in turns]))
            self.send({**asked, "turns": [names[word] for word in turns], "said": said}, buffers=[loop])
            self._state.played = {names[word]: one for word, one in found.items()}
        except (AudioError, CircuitError) as error:
            self.send({**asked, "problem": str(error)})
        except Exception:
            self.send({**asked, "problem": FAILED})
            raise

    def _listened(
        self, choice: tuple[str, str, tuple[str, ...]], chains: Mapping[str, SignalChain]
    ) -> dict[str, Heard]:
        """All of these chains; the last ones made are kept, since the levels are set by all of them together."""
        key = choice, tuple(chains.items())
        if self._made is None or self._made[0] != key:
            sound, level, noises = choice
            tables = {word: {name: self._noise[word](one) for name, one in chains.items()} for word in noises}
            self._made = key, listen_to(chains, sound=sound, level=level, clips=self._clips, **tables)
        return self._made[1]

    def _asked_for_words(self, content: dict[str, Any]) -> None:
        sound = text_in(content, "sound", 20)
        if sound not in [word for word, _ in self.sounds]:
            return
        if sound == KNOCKS:
            self.send({"word": "described", "revision": self.revision, "sound": sound, "sentences": [NO_NOTE]})
            return
        try:
            found = balances(self._state.chain, self._state.kept, sound=sound)
            sentences = [balance_sentence(NAMES[name], balance) for name, balance in found.items()]
            sentences.append("All levels are against the pickup with nothing connected.")
        except CircuitError as error:
            sentences = [f"This chain could not be worked out: {error}"]
        self.send({"word": "described", "revision": self.revision, "sound": sound, "sentences": sentences})


def _choice(
    content: dict[str, Any], noises: list[str], sounds: list[str], names: Iterable[str]
) -> tuple[list[str], str, str, tuple[str, ...]]:
    """Versions, sound, level and noises that a message asks for. Raises AudioError for what is not offered."""
    sound, level = (text_in(content, key, 20) for key in ("sound", "level"))
    asked = content.get("versions")
    turns = [word for word in names if isinstance(asked, list) and word in asked]
    if not turns or len(turns) != len(asked) or sound not in sounds or level not in LEVELS:
        raise AudioError("The page asked for a sound that is not offered. Load the page again.")
    wanted = content.get("noises")
    return turns, sound, level, tuple(word for word in noises if isinstance(wanted, list) and word in wanted)


def _note_name(word: str, chain: SignalChain) -> str:
    note = SOUNDS[word].note or lowest(chain)
    return f"{note.display} ({note.frequency_hz:.0f} Hz)"


def _said(name: str, one: Heard, level: str) -> str:
    """What is to be said of a sound that plays: silence, that it was bent by a curve, or that it was turned up."""
    name = f"{name[0].upper()}{name[1:]}"
    if not one.signal.any():
        return f"{name}: silence; nothing of the note is left."
    said = [f"{name}: {TOO_FAR}"] if one.followed is False else []
    if level == MATCHED and one.turned_up_db >= 0.5:
        said.append(f"{name}: turned up by {one.turned_up_db:.0f}\u00a0dB, to be as loud.")
    return " ".join(said)


def balance_sentence(name: str, balance: Balance) -> str:
    """What one would hear of a version: tone first, then the levels."""
    if balance.silent:
        return f"{name.capitalize()}: silence; nothing of the note is left."
    low, high = decibels(balance.at_pitch), decibels(balance.at_bright)
    return (
        f"{name.capitalize()}: {heard(high - low)}. The note itself, {balance.pitch_hz:.0f}\u00a0Hz, arrives "
        f"{decibel_words(low)}, its overtones at {balance.bright_hz / 1000:.2g}\u00a0kHz {decibel_words(high)}."
    )
