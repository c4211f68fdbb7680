"""Hear your own instrument: the first bare take through the bare pickup, this chain, the kept one and the builds that
the drawer's search offered last, in turns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from piezolab.audio import AudioError
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.pages.did_it_do_what_was_predicted.takes_state import TakesState
from piezolab.pages.kit.blocks import paragraphs
from piezolab.pages.kit.drawer_offers import read_offers
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.piece import text_in
from piezolab.pages.kit.player import NAMES, Player
from piezolab.pages.kit.sections import FoldedParts, Section
from piezolab.quantity import show
from piezolab.studies.choosing.one_build import with_stage_of
from piezolab.studies.recordings.own_sound import OwnSound, ThroughChain, own_sound, through_chains

OWN, DRAWER = "own", "drawer"
TITLE = "Hear your own instrument"
ABOUT = (
    "The first bare take, what it was plugged into divided out again. Its cable and input have to be those of the "
    "chain. No clipping, and no hiss or hum but the take's own hiss."
)
CAUTION = "Here, too: volume down before you put headphones on."
NO_TAKE = "No bare take is there."


class OwnPlayer(Player):
    """See the module; it has one sound, the take, and no noise of its own beside the take's."""

    def __init__(self, state: TakesState) -> None:
        self._own: tuple[object, OwnSound] | None = None
        self.left_out: tuple[str, ...] = ()
        super().__init__(state, hiss=None, hum=None, compact=True, more="Volume and level")
        self.about, self.told = "", {**self.told, "caution": CAUTION, "most": ""}
        state.observe(lambda _: self._follow(), ["heard", "offers"])

    def own(self) -> OwnSound:
        """The take by itself. Raises AudioError and CircuitError."""
        heard, chain = self._state.heard, self._state.chain
        takes = () if heard is None else heard.of(False)
        if not takes:
            raise AudioError(NO_TAKE)
        asked = takes[0], chain
        if self._own is None or self._own[0] != asked:
            self._own = asked, own_sound(takes[0], chain)
        return self._own[1]

    def kept_in(self, keepsake: Keepsake) -> None:
        """What the drawer's search offered last is kept in the visitor's browser."""

        def given(rows: Sequence[Sequence[str]]) -> None:
            found, self.left_out = read_offers(rows)
            self._state.offers = found

        keepsake.use("offers", given)

    @property
    def names(self) -> Mapping[str, str]:
        """As every player's, and the drawer's builds by the reasons for which they are offered."""
        return NAMES | {f"{DRAWER} {n}": f"{DRAWER}: {name}" for n, name in enumerate(self._state.offers)}

    def _chains(self) -> dict[str, SignalChain]:
        """As every player's, and the drawer's builds on this bench, each that is not there already."""
        found = super()._chains()
        for n, offer in enumerate(self._state.offers.values()):
            build = with_stage_of(self._state.chain, offer)
            if build not in found.values():
                found[f"{DRAWER} {n}"] = build
        return found

    def _offered(self) -> list[list[str]]:
        return [[OWN, "your first bare take"]]

    def _listened(
        self, choice: tuple[str, str, tuple[str, ...]], chains: Mapping[str, SignalChain]
    ) -> dict[str, ThroughChain]:
        key = choice, tuple(chains.items()), self._state.heard
        if self._made is None or self._made[0] != key:
            self._made = key, through_chains(self.own(), chains, choice[1])
        return self._made[1]

    def _asked_for_words(self, content: dict[str, Any]) -> None:
        if text_in(content, "sound", 20) == OWN:
            self.send({"word": "described", "revision": self.revision, "sound": OWN, "sentences": [self.words_of()]})

    def words_of(self) -> str:
        """From where down it is no longer the visitor's own, or why there is nothing to hear; and what of the drawer's
        builds is left out."""
        return " ".join([self._own_words(), *self.left_out])

    def _own_words(self) -> str:
        try:
            own = self.own()
        except (AudioError, CircuitError) as error:
            return str(error)
        said = "All you hear is yours" if not own.from_hz else (
            f"From {show(own.from_hz, 'Hz', 2)} down it is no longer yours: the take holds too little above its noise"
        )  # fmt: skip
        hum = f" {own.lines} hum lines were taken out." if own.lines > 1 else " A hum line was taken out." * own.lines
        return f"{said}. It was lifted by up to {own.boost_db:.0f}\u00a0dB.{hum}"


def own_fold(state: TakesState) -> FoldedParts:
    """The player with its words, folded: nothing is worked out before it is opened."""
    player = OwnPlayer(state)

    def said(_chain: SignalChain) -> str:
        return paragraphs(player.words_of()) if fold.head.opened else ""

    fold = FoldedParts(TITLE, [player], paragraphs(ABOUT))
    words = Section(state, "own-sound", "", said, follows=("settled", "heard", "offers"))
    fold.inside.children = [words, player]
    fold.head.observe(lambda _: words.refresh(), "opened")
    fold.player, fold.words = player, words
    return fold
