"""Tones for the meter, made by the browser itself: nothing is sent, and it starts far down."""

from __future__ import annotations

import traitlets

from piezolab.pages.kit.piece import Piece, script
from piezolab.studies.metering.tone_on_board import TONE_HZ

INPUT_HZ = 100.0  # low enough that an input's capacitance does not matter
START_DB, LOWEST_DB = -40, -60


class TonePlayer(Piece):
    """A button that starts and stops each tone, and their level in dB under the most that the device can put out; a
    sine of full level has half of full scale as its peak."""

    _esm = script("tone.js")

    hertz = traitlets.List([TONE_HZ, INPUT_HZ]).tag(sync=True)
    start_db = traitlets.Int(START_DB).tag(sync=True)
    lowest_db = traitlets.Int(LOWEST_DB).tag(sync=True)
    caution = traitlets.Unicode(
        "Headphones off your ears, loudspeakers down: these tones are for the meter. They start far down and never go "
        "above half of what the device can put out."
    ).tag(sync=True)
