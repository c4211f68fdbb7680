"""What became of a figure that was guessed: up, the same, or down. A guess is compared with it and never graded."""

from __future__ import annotations

from piezolab.chain import SignalChain
from piezolab.lessons.lesson import LessonStep, figure, unit_of

WAYS = ("up", "same", "down")
#: What nobody hears or reads off counts as the same: levels in dB, other figures as a part. Our own choice.
SAME_DB, SAME_PART = 0.5, 0.03
#: The figure that a dot can be a guess of: the bare curve's level at the lowest string.
ON_THE_LINE = "loading.low_note_re_open_db"
#: Ends of what a dot can stand for, dB.
LOWEST_DB, HIGHEST_DB = -60.0, 40.0


def read_guess(step: LessonStep, word: str) -> str:
    """A guess as it is kept: a way, or for a dot its level in dB; "" for anything else."""
    if step.guess_by != "dot":
        return word if word in WAYS else ""
    try:
        level = float(word)
    except ValueError:
        return ""
    return f"{level:.1f}" if LOWEST_DB <= level <= HIGHEST_DB else ""


def way(step: LessonStep, chain: SignalChain) -> str:
    """Which way the guessed figure has gone from the step's start to a chain.

    "" while nothing has moved, or where it is no number.
    """
    if not step.guess or chain == step.start:
        return ""
    before, now = figure(step.start, step.guess_figure), figure(chain, step.guess_figure)
    if before is None or now is None:
        return ""
    same = SAME_DB if unit_of(step.guess_figure) == "dB" else SAME_PART * abs(before)
    return "same" if abs(now - before) <= same else "up" if now > before else "down"
