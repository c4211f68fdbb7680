"""Takes from the visitor's own files: sent in slices, decoded on arrival, dropped.

One file is on its way at a time. Its bytes are held in the memory of this page's process alone, no longer than it
takes to decode them; of the sound itself only what was found in it stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import traitlets

from piezolab.audio import AudioError
from piezolab.audio.slices import Slices
from piezolab.audio.sound_file import LONGEST_S, MB, MOST_BYTES, MOST_BYTES_IN_A_ROOM, Recording, check_size, decoding
from piezolab.giving_way import give_way
from piezolab.lessons.shelf import in_a_room
from piezolab.pages.did_it_do_what_was_predicted.sentences import whole
from piezolab.pages.did_it_do_what_was_predicted.takes_state import TakesState
from piezolab.pages.kit.piece import STATIC, Piece, number_in, script, text_in
from piezolab.quantity import decibels
from piezolab.studies.recordings.studied_take import studied
from piezolab.studies.recordings.swept import swept

#: Bytes of one slice; a message of a page has 1 MiB at most.
SLICE = 2**18
#: What a page may send at once and each second without being shut out; the server allows a little more.
AT_ONCE, EACH_SECOND = 8 * 2**20, 1.75 * 2**20
MOST_NAME = 60
KEPT_WHERE = "Your sound never leaves the server's memory and is gone with this page."
INVENTED, OWN = "Invented takes. Yours:", "Your takes:"
FAILED = "the sound could not be worked through; what went wrong is in the server's log."
_DECODING = 0.4  # part of the work
TOO_LARGE = "this needs more memory than a page has; choose a shorter take."


class SoundInput(Piece):
    """Two buttons, one for each kind of take, and the takes that are there with a button that removes each.

    In the browser the element carries ``data-state``: idle, sending, listening.
    """

    _esm = script("sound_input.js")
    _css = STATIC / "sound_input.css"
    words = {"begin": "_begin", "cancel": "_cancel", "remove": "_remove"}

    #: The takes: [label, what removes it].
    takes = traitlets.List().tag(sync=True)
    #: The buttons: [whether it is with the stage, label].
    kinds = traitlets.List([[False, "add a bare take"], [True, "add a take with the stage"]]).tag(sync=True)
    whose = traitlets.Unicode("").tag(sync=True)
    limits = traitlets.Unicode("").tag(sync=True)
    slice = traitlets.Int(SLICE).tag(sync=True)
    at_once = traitlets.Int(AT_ONCE).tag(sync=True)
    each_second = traitlets.Int(int(EACH_SECOND)).tag(sync=True)

    both = False  # whether both channels are wanted

    def __init__(self, state: TakesState) -> None:
        most = MOST_BYTES_IN_A_ROOM if in_a_room() else MOST_BYTES
        super().__init__(
            limits=f"WAV or FLAC, up to {most // MB} MB and {LONGEST_S / 60:.0f} min each. {KEPT_WHERE}"
        )
        self._state, self._most = state, most
        self._forget()
        state.observe(lambda _: self._list(), "heard")
        self._list()

    def _forget(self) -> None:
        self._serial = -1
        self._data: Slices | None = None
        self._name, self._size, self._staged = "", 0, False
        self._steps: Iterator[float] | None = None
        self._recording: Recording | None = None

    def _list(self) -> None:
        heard = self._state.heard
        own = () if heard is None or heard.invented else heard.takes
        self.whose = OWN if own else INVENTED
        self.takes = [
            [f"{'with the stage' if take.staged else 'bare'}: {take.name}", f"remove {take.name}"] for take in own
        ]

    # -- what comes in ------------------------------------------------------------------------------------------
    def _heard(self, widget: Any, content: Any, buffers: Any) -> None:
        if isinstance(content, dict) and content.get("word") == "slice":
            self._slice(content, buffers)
        else:
            super()._heard(widget, content, buffers)

    def _begin(self, content: dict[str, Any]) -> None:
        """A file is announced."""
        self._cancel(content)
        self._serial, self._size = number_in(content, "serial"), number_in(content, "size")
        self._name = (text_in(content, "name", 1000) or "the file").strip()[-MOST_NAME:]
        self._staged = content.get("staged") is True
        try:
            check_size(self._size, self._name, self._most)
            self._check_room()
        except AudioError as error:
            self._end(str(error))
            return
        self._data = Slices()
        self._say("next", at=0)

    def _slice(self, content: dict[str, Any], buffers: Any) -> None:
        """The next piece of the file; one that is not the next is dropped."""
        data = self._data
        if data is None or number_in(content, "serial") != self._serial or number_in(content, "at") != data.size:
            return
        if not isinstance(buffers, list) or len(buffers) != 1 or not 0 < memoryview(buffers[0]).nbytes <= SLICE:
            return
        data.add(bytes(buffers[0]))
        if data.size < self._size:
            self._say("next", at=data.size)
            return
        self._data = None
        self._steps = decoding(data, self._name, self._most, self.both)
        self._say("listening", part=0.0)
        self._state.at_rest.put((self, "listen"), self._listen)

    def _cancel(self, _content: dict[str, Any]) -> None:
        self._state.at_rest.drop((self, "listen"))
        self._forget()

    def _remove(self, content: dict[str, Any]) -> None:
        self._state.drop(number_in(content, "n"))

    # -- working through ----------------------------------------------------------------------------------------
    def _listen(self) -> None:
        """Decode and study; begun again after a move it goes on decoding where it was."""
        try:
            self._decode()
            said = self._take(self._recording)
        except AudioError as error:
            self._end(str(error))
        except MemoryError:
            self._end(f"{self._name}: {TOO_LARGE}")
        except Exception:
            self._end(f"{self._name}: {FAILED}")
            raise
        else:
            short = self._recording.short_of
            missing = f" The last {short:.1f} s are missing in the file." if short >= 0.05 else ""
            self._end(f"{self._name}: {said}{missing}", good=True)

    def _check_room(self) -> None:
        self._state.check_room(self._staged, self._name)

    def _take(self, recording: Recording) -> str:
        """Study it and put it into the state; what is said of it."""
        take = studied(recording, self._staged, self._part)
        self._state.add(take)
        kind = "taken, bare" if not take.staged else "taken, with the stage"
        return f"{kind}, {len(take.notes)} notes in {take.seconds:.0f} s."

    def _decode(self) -> None:
        said = 0.0
        while self._recording is None:
            try:
                part = next(self._steps)
            except StopIteration as done:
                self._recording, self._steps = done.value, None
                break
            if part - said >= 0.1:
                said = part
                self._say("listening", part=_DECODING * part)
            give_way()
        peak = whole(float(decibels(self._recording.peak)))
        clips = f", and it clips {self._recording.clipped} times" if self._recording.clipped else ""
        said = f"{self._name}: peak {peak}\u00a0dB of full scale{clips}. Its notes are being listened to."
        self._say("listening", part=_DECODING, said=said)

    def _part(self, part: float) -> None:
        self._say("listening", part=_DECODING + (1 - _DECODING) * part)

    def _say(self, word: str, **more: Any) -> None:
        self.send({"word": word, "serial": self._serial, **more})

    def _end(self, sentence: str, good: bool = False) -> None:
        self._say("end", said=sentence, good=good)
        self._forget()


class SweepInput(SoundInput):
    """The same for one recorded sweep of two channels; a new one takes the last one's place."""

    both = True
    kinds = traitlets.List([[True, "open the recorded sweep"]]).tag(sync=True)

    def __init__(self, state: TakesState) -> None:
        super().__init__(state)
        state.observe(lambda _: self._list(), "swept")

    def _list(self) -> None:
        there = self._state.swept
        self.whose = ""
        self.takes = [] if there is None else [[there.name, f"remove {there.name}"]]

    def _check_room(self) -> None:
        """There is always room."""

    def _take(self, recording: Recording) -> str:
        self._state.swept = swept(recording)
        return f"the sweep was found twice, {'with' if self._state.swept.looped else 'without'} loop-back."

    def _remove(self, content: dict[str, Any]) -> None:
        self._state.swept = None
