"""How values are written: as the shortest letter code, and for people.

Internal to the ground floor: other modules use :mod:`piezolab.quantity`, which re-exports these names.
"""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_UP, Decimal, localcontext

from piezolab.units import PREFIXES, QuantityError, Unit, unit_named


def letter_code(value: float, unit: str = "") -> str:
    """Shortest customary text that :func:`piezolab.quantity.parse` reads back to exactly ``value`` (finite, base unit).

    Ohms and farads are printed as IEC 60062 letter codes (``3M3``, ``560R``, ``R47``, ``15n``). Other units
    take a prefix letter where that is shorter (``10m`` volts, ``4k2`` hertz); lengths never take milli,
    which would read as metres. Values no prefix suits are printed as Python prints them. Raises
    :class:`QuantityError` for infinity or not-a-number.
    """
    u, number = unit_named(unit), float(value)
    if not math.isfinite(number):
        raise QuantityError(f"value: {number} has no letter code; it must be finite.")
    if number == 0:
        return "0"
    sign = "-" if number < 0 else ""
    plain = re.sub(r"\.0$|(?<=e)\+|(?<=e-)0", "", repr(abs(number)))
    coded = _coded(abs(number), u)
    # A letter code may be one character longer than the plain number: 560R rather than 560.
    keep = coded is not None and len(coded) < len(plain) + (2 if u.coded else 0)
    return sign + (coded if keep and coded else plain)


def _coded(number: float, u: Unit) -> str | None:
    """``number`` > 0 with a letter for its decimal point, or None where the unit has no such letter."""
    letters = {PREFIXES[p]: p for p in u.prefixes if u.terse and not (u.key == "m" and p == "m")}
    if u.coded:
        letters[0] = u.point
    digits = "".join(map(str, Decimal(repr(number)).as_tuple().digits)).rstrip("0")
    size = Decimal(repr(number)).adjusted()
    powers = sorted({*letters, 0})
    power = max((p for p in powers if p <= size), default=powers[0])
    if power not in letters:
        return None
    before = size - power + 1
    if before <= 0:
        return letters[power] + "0" * -before + digits
    return digits[:before].ljust(before, "0") + letters[power] + digits[before:]


_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_NO_PREFIX = {"dB", "degC", "1/V", "h", "Ah"}


def _rounded(size: float, digits: int | None) -> Decimal:
    """To so many figures, or to one decimal."""
    with localcontext() as context:
        context.prec = 400  # any float to one decimal
        exact = Decimal(repr(size))
        step = -1 if digits is None else (exact.adjusted() - digits + 1 if exact else 0)
        return exact.quantize(Decimal((0, (1,), step)), ROUND_HALF_UP)


def _usable_prefixes(u: Unit) -> dict[int, str]:
    """Powers of ten with the prefix that a unit is shown with."""
    if u.key in _NO_PREFIX:
        return {0: ""}
    return {0: "", **{PREFIXES[p]: p for p in u.prefixes if u.key or PREFIXES[p] > 0}}


def show(value: float, unit: str, digits: int = 3) -> str:
    """``value`` (base unit) for people, to ``digits`` figures: ``3.30 MΩ``, ``−9.0 dB``, ``25 °C``.

    Decibels have one decimal; degrees lose trailing zeros; plain numbers take prefixes only from 1000 up.
    Infinity is shown as ``∞`` and not-a-number as ``—``. Raises :class:`QuantityError` for an unknown unit
    or fewer than one digit.
    """
    u, number = unit_named(unit), float(value)
    if digits < 1:
        raise QuantityError(f"digits: {digits!r} is too few; at least 1 significant digit is shown.")
    gap = "" if not u.symbol else " "
    if not math.isfinite(number):
        text = "—" if math.isnan(number) else "∞" if number > 0 else "−∞"
        return f"{text}{gap}{u.symbol}"
    rounded = _rounded(abs(number), None if u.key == "dB" else digits)
    size = rounded.adjusted() if rounded else 0
    minus = "−" if number < 0 and rounded else ""
    usable = _usable_prefixes(u)
    power = max((p for p in usable if p <= size), default=min(usable)) if rounded else 0
    if u.key == "dB":
        return f"{minus}{rounded:f} dB"
    if size - power > 5 or size - power < -6:
        scaled = f"{rounded.scaleb(-size):.{digits - 1}f}×10{str(size).translate(_SUPERSCRIPT)}"
        return f"{minus}{scaled}{gap}{u.symbol}"
    text = f"{rounded.scaleb(-power):.{max(0, digits - 1 - size + power)}f}" if rounded else "0"
    if u.key == "degC" and "." in text:
        text = text.rstrip("0").rstrip(".")
    ending = usable[power].replace("u", "µ") + u.symbol
    return f"{minus}{text}{' ' if ending else ''}{ending}"
