"""Radio, howl, a cable that rubs: not computed, but a test and a rule for each, and what the rule costs."""

from __future__ import annotations

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import bullets, paragraphs, table
from piezolab.quantity import show
from piezolab.studies.stopper import stoppers

RULES = (
    "Radio: a voice or a buzz that changes with the place, or with a telephone on the board. Then a stopper right at "
    "the gate, short leads, a closed box.",
    "Howl: a tone that grows by itself and stops when the volume goes down or a hand lies on the top. Then turn the "
    "soundboard away from the loudspeaker, move the disc or cut that tone.",
    "A cable that speaks: tap it while the strings are still. Then another cable, or a stage in the instrument: a "
    "cable that rubs drives little into a low impedance.",
    "A slow drift, thumps as the disc warms up: ceramic answers to warmth. Keep the sun off.",
)


def getting_in(chain: SignalChain) -> str:
    """The rules, and what a stopper would do to this chain."""
    said = paragraphs("Not computed: a test and a rule each (common practice).") + bullets(list(RULES))
    found = stoppers(chain)
    if found is None:
        return said
    rows = [
        (show(float(ohm), "ohm", 2), _from(corner), _signed(radio), _signed(hiss))
        for ohm, corner, radio, hiss in zip(found.ohm, found.corner_hz, found.radio_db, found.hiss_db, strict=True)
    ]
    return said + table(
        ("stopper", "works from", "at 100 MHz", "hiss"), rows,
        "Computed for this stage, from gate to source, leads left out; medium wave may pass.",
    )  # fmt: skip


def _from(corner: float) -> str:
    return "above 2 GHz" if np.isnan(corner) else show(float(corner), "Hz", 2)


def _signed(db: float) -> str:
    return f"{round(float(db), 1) + 0.0:+.1f} dB".replace("-", "−").replace("+0.0", "0.0")
