"""What the recordings chapter says of a sweep."""

from __future__ import annotations

import math

import numpy as np

from piezolab.audio.exponential_sweep import TONE_HZ
from piezolab.chain.parameters import all_parameters
from piezolab.pages.did_it_do_what_was_predicted.sentences import whole
from piezolab.pages.kit.blocks import bullets, table
from piezolab.quantity import show
from piezolab.studies.recordings import sweep_against as against
from piezolab.studies.recordings.chain_fits import ChainFit
from piezolab.studies.recordings.sweep_against import SweepCompared
from piezolab.studies.recordings.sweep_run import ORDERS
from piezolab.studies.recordings.swept import SweptTake
from piezolab.studies.recordings.takes_fit import PickupFit

CARE = (
    "Headphones and loudspeakers off: the sweep is one long tone up to 22 kHz. Begin with the output turned down."
)
WIRING = (
    "Unplug the disc. In its place goes a capacitor of about its value: interface output, capacitor, the disc's hot "
    "lead; screen to screen.",
    "Stage's output to the left input. Interface output also straight to the right input: this loop-back takes drift, "
    "delay and the interface's own corners out. Without it record the left alone; the level then does not count.",
    "Play the sweep at its own speed and record both inputs as WAV or FLAC from before it begins, the left one peaking "
    "between −20 and −6 dB of full scale.",
    f"For volts: play the tone ({TONE_HZ:.0f} Hz) at the same settings and read AC volts at the stage's output.",
)
TO_FINDER = "take it to the fault finder"
WITH_FINDER = "The sweep is among your readings now: Where is the fault?"
NOTHING, NOTED = "No sweep yet.", "Noted. Now open the recorded sweep."
_FINDING = {
    against.AGREES: "From your lowest note up it follows the prediction: {worst} at most.",
    against.LESS_BASS: "Thinner than predicted: {low} at your lowest note. Gate resistor, a leak beside it, or a small "
    "output capacitor.",
    against.MORE_BASS: "More bass than predicted: {low} at your lowest note. The gate resistor or the capacitor is "
    "larger than entered.",
    against.LESS_TREBLE: "Duller than predicted: {worst} at {hz}. A longer cable, or more capacitance at the output.",
    against.MORE_TREBLE: "Brighter than predicted: {worst} at {hz}. Less cable or input capacitance than entered.",
    against.ODD: "It strays from the prediction: {worst} off at {hz}. Something in between shapes the sound.",
    against.SWAPPED: "The channels look swapped: the chain belongs on the left, the loop-back on the right.",
}
_MISSING = {
    "pickup_c": "read the capacitor with a meter and enter it",
    "gate_r": "read the gate resistor with a meter, battery out",
    "jfet_vgsoff": "measure the source's voltage with the battery in, or the transistor by itself",
}


def sweep_verdict(take: SweptTake, now: SweepCompared) -> str:
    """The finding, then level and clipping."""
    said = [_FINDING[now.finding].format(
        worst=f"{whole(now.worst_db, '+', 1)}\u00a0dB", hz=show(now.worst_hz, "Hz"),
        low=f"{whole(now.low_db, '+', 1)}\u00a0dB",
    )]  # fmt: skip
    if now.level_db is not None:
        said.append(f"Level {whole(now.level_db, '+', 1)}\u00a0dB against the prediction.")
    if take.clipped:
        said.append(f"The recorder clips {take.clipped} times: turn it down and record again.")
    if now.bent_hz is not None:
        said.append(f"From {show(now.bent_hz, 'Hz')} on it bends the sweep by more than 1 %: play it softer.")
    if now.output_v is None:
        said.append("Volts, and where it clips, need the meter's reading.")
    elif take.clipped or now.bent_hz is not None:
        said.append(f"At {show(now.output_v, 'V')} peak ({whole(now.output_dbu, '+', 1)}\u00a0dBu) it clips or bends.")
    else:
        said.append(
            f"Clean up to {show(now.output_v, 'V')} peak ({whole(now.output_dbu, '+', 1)}\u00a0dBu) at its output; "
            "louder was not tried."
        )
    return " ".join(said)


def sweep_tables(take: SweptTake, now: SweepCompared) -> str:
    """Response at some frequencies, harmonics by order, hum and noise."""
    rows = []
    for hz in (20.9, 41.0, 82.0, 147.0, 330.0, 1000.0, 3000.0, 10e3, 19e3):
        n = int(np.argmin(np.abs(np.log(now.hz / hz))))
        rows.append((
            f"{now.hz[n]:.0f} Hz", f"{whole(now.gain_db[n], digits=2)} ± {now.half_db[n]:.2f} dB",
            f"{whole(now.predicted_db[n], digits=2)} dB", f"{whole(now.phase_deg[n], digits=1)}°",
            f"{whole(now.predicted_deg[n], digits=1)}°",
        ))  # fmt: skip
    slid = "" if now.slid_db is None else " Slid to the predicted level."
    said = table(("", "level", "predicted", "phase", "predicted"), rows, f"Twelfths of an octave.{slid}")
    rows = []
    stands = take.stands_out()
    for hz in (50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0):
        n = int(np.argmin(np.abs(np.log(take.order_hz / hz))))
        rows.append((f"{take.order_hz[n]:.0f} Hz", *(
            _share(take.harmonics[k, n], take.floors[k, n], bool(stands[k, n])) for k in range(len(ORDERS))
        )))  # fmt: skip
    said += table(("played", *(f"harmonic {order}" for order in ORDERS)), rows, "Added harmonics, of the fundamental.")
    rows = [
        ("recorder's clock against the player's", f"{whole(take.drift * 1e6, '+')} ppm"),
        ("delay taken out", show(now.delay_s, "s") if now.delay_s else "none"),
        ("polarity", "turned over" if now.turned else "as predicted"),
    ]
    if take.quiet is not None:
        lines = take.quiet.lines
        level = f"{_full(lines.total.value)}" if lines.total.low > 0 else f"below {_full(lines.total.high)}"
        named = f", mains {lines.mains_hz:.0f} Hz" if math.isfinite(lines.mains_hz) else ""
        rows += [("noise, 20 Hz to 20 kHz", _full(take.quiet.noise.value)), ("hum", level + named)]
    return said + table(("", ""), rows, "The rest; dB of the recorder's full scale.")


def fit_words(fit: ChainFit) -> str:
    """What the sweep says of the unknown values, and what is missing where it cannot tell."""
    said = []
    for key in fit.keys:
        label, unit = _label(key)
        found = fit.values[key]
        if key in fit.edge:
            said.append(f"{label}: beyond what this page allows; look for a fault first.")
        elif fit.apart[key]:
            said.append(f"{label}: {show(found.value, unit)} ({show(found.low, unit)} to {show(found.high, unit)}).")
        elif not (fit.product and key in fit.product[:2]):
            said.append(f"{label}: this set-up cannot tell it. To know it, {_MISSING[key]}.")
    if fit.product is not None:
        product = fit.product[2]
        said.append(
            f"Capacitor times gate resistor: {show(product.value, 's')} ({show(product.low, 's')} to "
            f"{show(product.high, 's')}); only the product is told. To part them, {_MISSING['pickup_c']}."
        )
    return bullets(said)


def pickup_words(fit: PickupFit) -> str:
    """What the bare takes say of the pickup's capacitance."""
    found, product = fit.pickup_c, fit.product_s
    said = (
        f"The bare takes tell resistance times capacitance only: {show(product.value, 's')} "
        f"({show(product.low, 's')} to {show(product.high, 's')})."
    )
    if found is None:
        return f"{said} With {show(fit.r_ohm, 'ohm')} as entered no disc fits; was the bare take made with that input?"
    return (
        f"{said} With {show(fit.r_ohm, 'ohm')} as entered the disc has {show(found.value, 'F')} "
        f"({show(found.low, 'F')} to {show(found.high, 'F')}). A capacitance meter would check it."
    )


def _label(key: str) -> tuple[str, str]:
    parameter = all_parameters()[key]
    return ("the capacitor" if key == "pickup_c" else parameter.label), parameter.unit


def _share(seen: float, floor: float, clear: bool) -> str:
    if not math.isfinite(floor):
        return "—"
    return f"{100 * seen:.2g} %" if clear else f"below {100 * max(floor, seen) * 2:.1g} %"


def _full(power: float) -> str:
    return show(10 * math.log10(power), "dB") if power > 0 else "none"
