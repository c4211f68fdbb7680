"""How long a battery serves, in words."""

from __future__ import annotations

from piezolab.quantity import show
from piezolab.studies.judging.life import CLIPPING, END_VOLTAGE, SATURATION, SHELF, Life


def volts(value: float) -> str:
    """A voltage to two figures."""
    return show(float(value), "V", 2)


def life(found: Life) -> str:
    """How long the battery serves, in a sentence; a refusal where no whole number of batteries gives the voltage."""
    if found.batteries is None:
        near = max(round(found.supply_v / found.each_v), 1)
        return (
            f"{volts(found.supply_v)} is no whole number of {volts(found.each_v)} batteries, so how long they would "
            f"last cannot be said: {near} of them {'give' if near > 1 else 'gives'} {volts(near * found.each_v)}."
        )
    battery = "The battery" if found.batteries == 1 else f"The set of {found.batteries} batteries in series"
    if found.hours > 0:
        why = {
            END_VOLTAGE: f"then it is spent ({volts(found.end_v)})",
            SATURATION: f"at {volts(found.end_v)} the transistor leaves saturation",
            CLIPPING: f"at {volts(found.end_v)} your hardest strokes begin to clip",
            SHELF: "then it has aged on its own, used or not",
        }[found.ends_by]
        return f"{battery} lasts {hours_words(found.hours)} switched on; {why}."
    empty = f"would last {hours_words(found.empty_h)}"
    if found.empty_by == SHELF:
        empty += ", until it has aged on its own"
    why = {
        SATURATION: "the transistor is not in saturation even with a fresh one",
        CLIPPING: "your hardest strokes clip even with a fresh one",
    }[found.ends_by]
    return f"{battery} {empty}, but {why}."


def hours_words(hours: float) -> str:
    """A time in hours, with days or years where that is easier."""
    if hours >= 2 * 8766:
        return f"{hours / 8766:.1f}".removesuffix(".0") + " years"
    number = float(f"{hours:.2g}")
    days = f" ({hours / 24:.0f} days on end)" if hours >= 72 else ""
    return f"about {number:,.0f} hours{days}".replace(",", "\u202f")
