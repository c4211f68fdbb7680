"""Hear it: one note through the chain, bare, with its stage, and through the kept chain.

Nothing is made before a button is pressed; then the sounds are worked out once for a chain and a choice, one of them is
sent as a WAV file, and the browser keeps it until the chain changes. The browser plays through its audio graph and not
through an `audio` element, whose volume some phones do not let a page change.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import traitlets

from piezolab.audio import AudioError
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece, number_in, text_in
from piezolab.pages.kit.sentences import decibel_words, heard, lowest
from piezolab.quantity import decibels
from piezolab.studies.listening import (
    BARE,
    KEPT,
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
    listen,
    versions,
)

ChainTable = Callable[[SignalChain], Table]

#: Where the volume stands at first and how far down it goes, dB; at 0 dB the loudest sample is `PEAK` of full scale.
START_DB, LOWEST_DB = -20, -50

CAUTION = (
    f"Volume down, headphones off first. The player starts {abs(START_DB)}\u00a0dB down. At the top of its volume the "
    f"loudest moment lies {abs(decibels(PEAK)):.0f}\u00a0dB under the most that your device can put out; nothing goes "
    "above that."
)
ABOUT = (
    "Worked out from the arithmetic of a plucked string, at normal playing (10 dB under hard). No wood, no room, no "
    "clipping: only what pickup, stage, cable and input do to it."
)
NAMES = {BARE: "bare pickup", STAGE: "with the stage", KEPT: "kept curve"}
INSTRUMENTS = {
    "lowest": "Your lowest string, {}",
    "dulcimer": "Stick dulcimer, {}",
    "bass": "Tea-chest bass, {}",
    "thumb-piano": "Thumb piano, {}",
}
LEVEL_NAMES = {MATCHED: "equally loud, to compare the tone", "true": "true level against each other"}
FAILED = "The sound could not be made; what went wrong is in the server's log."


class Player(Piece):
    """The player of a page; it follows the bench's chain and kept chain.

    hiss, hum: tables of a chain as `listen` takes them, or None where that is not offered. They are only asked for
    when a listener has ticked them.

    In the browser the element carries ``data-state`` (idle, waiting, playing, failed) and, of what played last,
    ``data-version``, ``data-seconds`` and ``data-peak``.
    """

    _esm = STATIC / "player.js"
    _css = STATIC / "player.css"
    words = {"play": "_asked_for_sound", "describe": "_asked_for_words"}

    #: What can be chosen: lists of [word, text].
    versions = traitlets.List().tag(sync=True)
    sounds = traitlets.List().tag(sync=True)
    levels = traitlets.List(list(map(list, LEVEL_NAMES.items()))).tag(sync=True)
    noises = traitlets.List().tag(sync=True)
    caution = traitlets.Unicode(CAUTION).tag(sync=True)
    about = traitlets.Unicode(ABOUT).tag(sync=True)
    start_db = traitlets.Int(START_DB).tag(sync=True)
    lowest_db = traitlets.Int(LOWEST_DB).tag(sync=True)
    peak = traitlets.Float(PEAK).tag(sync=True)
    #: Counts changes of the chains: what the browser has kept of an earlier one is stale.
    revision = traitlets.Int(0).tag(sync=True)

    def __init__(
        self, state: PageState, *, hiss: ChainTable | None = hiss_table, hum: ChainTable | None = hum_table
    ) -> None:
        super().__init__()
        self._state = state
        self._noise = {"hiss": hiss, "hum": hum}
        self._made: tuple[Any, dict[str, Heard]] | None = None
        self.noises = [[word, f"with {word}"] for word, table in self._noise.items() if table is not None]
        state.observe(lambda _: self._follow(), ["chain", "kept"])
        self._follow()

    def _follow(self) -> None:
        chain = self._state.chain
        there = [word for word in NAMES if word != STAGE or chain.topology.powered]
        if self._state.kept is None:
            there.remove(KEPT)
        with self.hold_sync():
            self.versions = [[word, NAMES[word]] for word in there]
            self.sounds = [[word, INSTRUMENTS[word].format(_note_name(word, chain))] for word in SOUNDS]
            self.revision += 1
        self._made = None

    # -- asked by the browser -----------------------------------------------------------------------------------
    def _asked_for_sound(self, content: dict[str, Any]) -> None:
        asked = {"word": "sound", "serial": number_in(content, "serial"), "revision": self.revision}
        try:
            version, *choice = _choice(content, [word for word, table in self._noise.items() if table is not None])
            heard_now = self._versions(tuple(choice))
            if version not in heard_now:
                raise AudioError(f"version: {version!r} is not there; {', '.join(heard_now)} can be heard.")
            one = heard_now[version]
            said = _said(version, one, choice[1])
            self.send({**asked, "said": said}, buffers=[one.wav()])
        except (AudioError, CircuitError) as error:
            self.send({**asked, "problem": str(error)})
        except Exception:
            self.send({**asked, "problem": FAILED})
            raise

    def _versions(self, choice: tuple[str, str, tuple[str, ...]]) -> dict[str, Heard]:
        """All versions of a choice; the last ones made are kept, since the levels are set by all of them together."""
        if self._made is None or self._made[0] != choice:
            sound, level, noises = choice
            chain, kept = self._state.chain, self._state.kept
            chains = versions(chain, kept)
            tables = {word: {name: self._noise[word](one) for name, one in chains.items()} for word in noises}
            self._made = choice, listen(chain, kept, sound=sound, level=level, **tables)
        return self._made[1]

    def _asked_for_words(self, content: dict[str, Any]) -> None:
        sound = text_in(content, "sound", 20)
        if sound not in SOUNDS:
            return
        try:
            found = balances(self._state.chain, self._state.kept, sound=sound)
            sentences = [balance_sentence(NAMES[name], balance) for name, balance in found.items()]
            sentences.append("All levels are against the pickup with nothing connected.")
        except CircuitError as error:
            sentences = [f"This chain could not be worked out: {error}"]
        self.send({"word": "described", "revision": self.revision, "sound": sound, "sentences": sentences})


def _choice(content: dict[str, Any], noises: list[str]) -> tuple[str, str, str, tuple[str, ...]]:
    """Version, sound, level and noises that a message asks for. Raises AudioError for what is not offered."""
    version, sound, level = (text_in(content, key, 20) for key in ("version", "sound", "level"))
    if version not in NAMES or sound not in SOUNDS or level not in LEVELS:
        raise AudioError("The page asked for a sound that is not offered. Load the page again.")
    wanted = content.get("noises")
    return version, sound, level, tuple(word for word in noises if isinstance(wanted, list) and word in wanted)


def _note_name(word: str, chain: SignalChain) -> str:
    note = SOUNDS[word].note or lowest(chain)
    return f"{note.display} ({note.frequency_hz:.0f} Hz)"


def _said(version: str, one: Heard, level: str) -> str:
    """What is playing, in words."""
    name = NAMES[version].capitalize()
    if not one.signal.any():
        return f"{name}: silence; nothing of the note is left."
    if level == MATCHED and one.turned_up_db >= 0.5:
        return f"{name}, turned up by {one.turned_up_db:.0f} dB to be as loud as the others."
    return f"{name}."


def balance_sentence(name: str, balance: Balance) -> str:
    """What one would hear of a version: tone first, then the levels."""
    if balance.silent:
        return f"{name.capitalize()}: silence; nothing of the note is left."
    low, high = decibels(balance.at_pitch), decibels(balance.at_bright)
    return (
        f"{name.capitalize()}: {heard(high - low)}. The note itself, {balance.pitch_hz:.0f}\u00a0Hz, arrives "
        f"{decibel_words(low)}, its overtones at {balance.bright_hz / 1000:.2g}\u00a0kHz {decibel_words(high)}."
    )
