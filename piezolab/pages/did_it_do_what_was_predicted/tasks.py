"""Tasks of the chapter on recordings."""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.pages.kit.tasks import NumberTask, PickTask
from piezolab.studies.loading import loading
from piezolab.studies.recordings.bass_fit import PLUCKED_DB


def _restored() -> float:
    found = loading(SignalChain(input="line"))
    return 10 * math.log10(1 + (found.corner_hz / found.low_note_hz) ** 2)


TASKS = (
    NumberTask(
        "takes-bass",
        "A bare 15 nF disc into a line input of 10 kΩ loses its bass below about 1 kHz. How many dB should a good "
        "stage give back at D3, 147 Hz?",
        "Below the corner 6 dB are lost for each octave; or ten times the logarithm of 1 + (corner/note)².",
        unit="dB",
        right=_restored,
        within=0.06,
        explain="That is what the takes are compared with.",
    ),
    PickTask(
        "takes-level",
        "One bare take and one with the stage: the second is 2 dB louder. What does that prove?",
        "How sure are you that you plucked both alike?",
        options=(
            "The stage amplifies by 2 dB.",
            "Nothing yet: it may have been plucked harder.",
            "The input is too low.",
        ),
        right=lambda: 1 if PLUCKED_DB > 2.0 else 0,
        told=(
            "A hand does not repeat itself that well; bare, stage, bare, stage would show it.",
            "Only the shape, bass against treble, does not depend on how hard you pluck.",
            "A low input takes bass; level alone does not show it.",
        ),
    ),
)
