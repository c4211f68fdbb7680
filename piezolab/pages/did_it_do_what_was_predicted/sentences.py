"""What the recordings chapter says."""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.pages.did_it_do_what_was_predicted.takes_state import HeardTakes
from piezolab.pitch import nearest_note
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings import against_prediction as found
from piezolab.studies.recordings.against_prediction import Compared, HumChange
from piezolab.studies.recordings.bass_fit import PLUCKED_DB
from piezolab.studies.recordings.quiet_part import ENOUGH_S, LEAST_S
from piezolab.studies.recordings.studied_take import StudiedTake

BEFORE = (
    "Automatic level off, one gain for all takes, ten seconds of not playing first. Then the same few strings, one "
    "note at a time, a second each: bare, stage, bare, stage."
)
WAITING = "The takes are being listened to."
ONE_KIND = {
    False: "Now add a take with the stage: same strings, same gain.",
    True: "Now add a bare take: the pickup straight into the same cable and input.",
}

_FINDING = {
    found.AGREES: "It did what was predicted: {what}.",
    found.LESS: "It did less than predicted: {what}.",
    found.MORE: "It did more than predicted: {what}.",
    found.TOO_WIDE: "No verdict yet: the bass at {note} is known {known}. More notes, and lower ones, narrow it.",
    found.SWAPPED: "The two kinds of takes look swapped: the bare one has more bass.",
    found.NO_STAGE: "The stage changes next to nothing: {what}. Is it in circuit, and did you record it?",
    found.ODD: "The bass comes back by about as much as predicted, but not along the predicted curve: {what}.",
}
_SUGGESTS = {
    found.LESS: (
        "Either the bare pickup loses less than the chain says (more capacitance, a higher input), or the stage loses "
        "bass itself: gate resistor, a dirty joint there, a small output capacitor. Where is the fault? can tell."
    ),
    found.MORE: (
        "The bare pickup loses more than the chain says: less capacitance, a lower input, or leakage. Measure the "
        "disc's capacitance and enter it."
    ),
    found.SWAPPED: "Remove both and add each under its own button.",
    found.NO_STAGE: "Check that the cable was in the stage's output, and its battery in.",
    found.ODD: "Something else than this chain shapes the sound: tone controls, another instrument position, a fault.",
}


NOTHING_DB = 20.0  # half an interval


def range_words(estimate: Estimate, digits: int = 0) -> str:
    """18 dB (17 to 20); no figure where the takes hold next to nothing of it."""
    if estimate.half > NOTHING_DB:
        return "cannot be told"
    value, low, high = (whole(each, "", digits) for each in (estimate.value, estimate.low, estimate.high))
    return f"{value}\u00a0dB ({low} to {high})"


def whole(value: float, sign: str = "", digits: int = 0) -> str:
    """A rounded figure with a true minus; sign "+" for a change; digits: after the point."""
    rounded = round(value, digits) + 0.0
    return f"{rounded:{sign if rounded else ''}.{digits}f}".replace("-", "−")


def verdict(heard: HeardTakes | None, now: Compared | str) -> str:
    """The one sentence, and what else was found."""
    if heard is None:
        return WAITING
    if isinstance(now, str):
        kinds = {take.staged for take in heard.takes}
        return ONE_KIND[kinds.pop()] if len(kinds) == 1 else now
    note, _ = nearest_note(now.fit.low_hz)
    if now.finding == found.TOO_WIDE:
        return _too_wide(now, note.display)
    what = (
        f"at {note.display} ({now.fit.low_hz:.0f}\u00a0Hz) it gives back {range_words(now.bass)} of bass, predicted "
        f"{whole(now.bass_expected)}"
    )
    first = _FINDING[now.finding].format(what=what)
    return " ".join([first, *filter(None, (hum_words(now.hum), level_words(now)))])


def _too_wide(now: Compared, note: str) -> str:
    """Nothing else is told either: the level hangs on the same fit."""
    known = "not at all" if now.bass.half > NOTHING_DB else f"to ±{now.bass.half:.0f}\u00a0dB only"
    return _FINDING[found.TOO_WIDE].format(note=note, known=known)


def hum_words(hum: HumChange | None) -> str:
    """What became of the hum."""
    if hum is None:
        return f"Hum: too little quiet ({LEAST_S:.0f} s needed)."
    expected = "" if hum.expected_db is None else f", predicted {whole(hum.expected_db, '+')}"
    if hum.change_db is not None:
        return f"Hum {whole(hum.change_db.value, '+')}\u00a0dB{expected}."
    if hum.at_least_db is not None:
        return f"Hum down by {hum.at_least_db:.0f}\u00a0dB or more{expected}."
    return "No hum stands out of the noise."


def level_words(now: Compared) -> str:
    """How much louder it is."""
    said = f"Level {whole(now.level.value, '+')}\u00a0dB, predicted {whole(now.level_expected, '+')}"
    if now.pairs < 2:
        return f"{said}; one take of each knows it to ±{PLUCKED_DB:.0f}\u00a0dB only."
    return f"{said}: {'agrees' if now.level_agrees else 'does not agree'}."


def advice(heard: HeardTakes | None, now: Compared | str) -> list[str]:
    """What it suggests, and what is wrong with the takes."""
    if heard is None or isinstance(now, str):
        return []
    said = [_SUGGESTS.get(now.finding, "")]
    if not heard.invented:
        if now.pairs < 2:
            said.append("A second take of each (bare, stage, bare, stage) would make the level count.")
        said += [sentence for take in heard.takes for sentence in take_troubles(take)]
    return [sentence for sentence in said if sentence]


def take_troubles(take: StudiedTake) -> list[str]:
    """What is wrong with a take though it can be used."""
    said = []
    if take.clipped:
        said.append(f"{take.name}: clips {take.clipped} times; turn the gain down for all takes.")
    if take.quiet is None:
        said.append(f"{take.name}: no {LEAST_S:.0f} s of quiet in it, so hum and noise cannot be told.")
    elif take.quiet.gated:
        said.append(f"{take.name}: its quiet part is digital silence; switch off the noise gate.")
    elif not take.quiet.enough:
        said.append(f"{take.name}: only {take.quiet.seconds:.1f} s of quiet; weak hum needs {ENOUGH_S:.0f} s.")
    if take.notes.unclear > len(take.notes):
        said.append(f"{take.name}: most sounds are no single notes; pluck one string at a time.")
    return said


def corner_words(now: Compared) -> str:
    """The bare pickup's corner as the takes have it."""
    corner = now.fit.corner
    if now.bass.half > NOTHING_DB:
        return "cannot be told"
    if not now.corner_seen:
        return f"below {corner.high:.0f} Hz"
    return f"{corner.value:.0f} Hz ({corner.low:.0f} to {corner.high:.0f})"


def label(now: Compared | str, chain: SignalChain) -> str:
    """The figure for who cannot see it."""
    if isinstance(now, str):
        return "What the stage is predicted to bring, over frequency."
    hz, gain, _ = now.measured_at()
    worst = float(max(abs(gain - found.gain_by_stage(chain, hz)))) if len(hz) else math.nan
    return f"What the stage brings: predicted, and {len(hz)} measured bands, {worst:.0f} dB off at most."
