"""Words for wishes: what meets them, what misses them, and which transistor types do."""

from __future__ import annotations

from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import paragraphs, table
from piezolab.quantity import show
from piezolab.sheets.what_and_why import FAILS
from piezolab.studies.choosing.other_types import FITS, FittingType, other_types

#: What a build does that meets a wish, by the wish's name.
WISHES = {
    "works": "stays in saturation with a quiet gate, at every supply voltage that it will see",
    "low_note_db": "keeps the lowest string",
    "headroom_db": "has room for hard playing",
    "gain_db": "has the gain",
    "step_v": "does not thump on plugging in",
    "settle_s": "settles soon after plugging in",
    "dc_v": "puts no more direct voltage on the jack than wished",
    "snr_db_a": "is quiet enough",
    "current_a": "is easy on the battery",
    "life_h": "runs long enough on a battery",
    "parts": "takes no more parts than wished",
    "cost": "costs no more than wished",
}
#: What one brings that does better.
BRINGS = {
    "works": "it works",
    "low_note_db": "more bass",
    "headroom_db": "more room",
    "gain_db": "more level",
    "step_v": "less thump",
    "settle_s": "settles sooner",
    "dc_v": "less direct voltage",
    "snr_db_a": "less hiss",
    "current_a": "less current",
    "life_h": "longer on a battery",
    "parts": "fewer parts",
    "cost": "less money",
}


def other_types_words(chain: SignalChain) -> str:
    """Transistors that would do in this chain, each with what speaks for it."""
    if not chain.topology.powered:
        return paragraphs("With no stage there is no transistor to choose.")
    found = other_types(chain)
    if found.fitting:
        said = paragraphs(
            f"At least {100 * FITS:.0f} of 100 parts of these types fit this chain as it is: it works down to a spent "
            "battery, hard playing does not clip, bass and level stay, and plugging in is quiet. Their legs may come "
            "in another order."
        ) + table(_HEAD, [_row(each) for each in found.fitting])
    else:
        near, why = found.nearest, ""
        if near is not None and near.share > 0:
            why = f" The {near.name} comes nearest: about {100 * near.share:.0f} of 100 parts do."
        elif near is not None:
            why = f" With the {near.name}, say, it {FAILS[near.missed]}."
        said = paragraphs(f"No other type of the catalogue fits this chain as it is.{why}")
    own = found.own
    if own is not None and own.share < FITS and not chain.transistor_measured:
        why = f"it {FAILS[own.missed]}."
        few = f"about {100 * own.share:.0f} in 100 fit; what most of the others miss: {why} Measure yours."
        said += paragraphs(f"Of the {chain.type_number} {few if own.share >= 0.01 else f'hardly one fits: {why}'}")
    return said


_HEAD = ("type", "room for hard playing", "level, at least", "supply current, at most")


def _row(each: FittingType) -> tuple[str, str, str, str]:
    room = f"{each.headroom_db:.1f} dB" if each.headroom_db < 200 else "no clip edge"
    sold = "" if each.availability == "common" else f", {each.availability}"
    return f"{each.name}{sold}", room, f"{each.gain_db:+.1f} dB".replace("-", "−"), show(each.current_a, "A", 2)
