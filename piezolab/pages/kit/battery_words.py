"""How long a battery serves, in words."""

from __future__ import annotations

from piezolab.quantity import show
from piezolab.studies.fading_battery import CLIPPING, END_VOLTAGE, SATURATION, SHELF, BatteryLife


def volts(value: float) -> str:
    """A voltage to two figures."""
    return show(float(value), "V", 2)


def life(found: BatteryLife) -> str:
    """How long the battery serves, in a sentence."""
    hours = hours_words(found.life_h)
    why = {
        END_VOLTAGE: f"then the battery is spent ({volts(found.end_v)})",
        SATURATION: f"at {volts(found.end_v)} the transistor leaves saturation",
        CLIPPING: f"at {volts(found.end_v)} your hardest strokes begin to clip",
        SHELF: "then the battery has aged on its own, used or not",
    }[found.ends_by]
    several = f" ({found.in_series:.3g} in series)" if found.in_series != 1 else ""
    if found.life_h <= 0:
        spent = hours_words(found.hours[END_VOLTAGE])
        why = {
            SATURATION: "the transistor is not in saturation even with a fresh battery",
            CLIPPING: "your hardest strokes clip even with a fresh battery",
        }[found.ends_by]
        return f"The battery{several} would last {spent}, but {why}."
    return f"The battery{several} lasts {hours} switched on; {why}."


def hours_words(hours: float) -> str:
    """A time in hours, with days or years where that is easier."""
    if hours >= 2 * 8766:
        return f"{hours / 8766:.1f} years"
    number = float(f"{hours:.2g}")
    days = f" ({hours / 24:.0f} days on end)" if hours >= 72 else ""
    return f"about {number:,.0f} hours{days}".replace(",", "\u202f")
