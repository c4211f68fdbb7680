"""A value as people type it into a field of a page: a layer over the strict reading of :mod:`piezolab.quantity`.

Links, files and the command line are read by `quantity.parse` alone, so that a text there means one thing for ever.
"""

from __future__ import annotations

import re
from decimal import Decimal

from piezolab.quantity import MAX_TEXT, QuantityError, from_three_digit_code, parse, show

#: International yard and pound agreement, 1959.
METRES_PER_FOOT = Decimal("0.3048")

# "meg" is what stands on drawings and parts drawers; the others are the prefixes' own names.
_SPELLED = {
    "meg": "M", "mega": "M", "kilo": "k", "giga": "G", "milli": "m", "micro": "u", "nano": "n", "pico": "p",
}  # fmt: skip
_NUMBER = r"(?P<number>[+\-−]?[0-9.,]+(?:[eE][+-]?[0-9]+)?)\s*"
_WORD = re.compile(rf"{_NUMBER}(?P<prefix>{'|'.join(sorted(_SPELLED, reverse=True))})[\s-]*(?P<unit>[^0-9]*)", re.I)
_KILOHM = re.compile(r"kil(?=ohm)", re.I)
_FEET = re.compile(_NUMBER + r"(?:ft\.?|foot|feet|['’′])", re.I)
# Marked in pF: two figures, number of noughts; K and J are tolerances there (IEC 60062). M is left out: on old parts it
# stands for micro.
_MARKING = re.compile(r"([1-9][0-9]{2})\s?([JK]?)")
_MARKED = {"": "would be farads", "K": "would be kilofarads", "J": "cannot be read"}


def parse_field(text: str, unit: str = "", *, what: str = "value") -> float:
    """Read one value from a field; returns it in the base unit of `unit`.

    Takes all that :func:`piezolab.quantity.parse` takes, with the same value, and besides prefixes in words
    (``10 meg``, ``2.2 megohm``, ``4.7 microfarads``) and, for lengths, feet (``10 ft``, ``10 feet``, ``6'``).

    Raises :class:`QuantityError` as `parse` does, and for three digits alone where farads are expected: ``203`` is what
    stands on a capacitor of 20 nF, and nobody means 203 F.
    """
    clean = text.strip() if isinstance(text, str) else ""
    if unit == "F" and (found := _MARKING.fullmatch(clean)):
        meant = show(from_three_digit_code(found[1]), "F", 2)
        raise QuantityError(f"{what}: {text!r} {_MARKED[found[2]]}; did you mean {meant}?")
    try:
        return parse(text, unit, what=what)
    except QuantityError as refused:
        feet = _FEET.fullmatch(clean) if unit == "m" else None
        found = feet or _WORD.fullmatch(_KILOHM.sub("kilo", clean))
        if not found or len(text) > MAX_TEXT or not _is_number(found["number"]):
            raise
        if feet:
            return float(Decimal(found["number"].replace(",", ".").replace("−", "-")) * METRES_PER_FOOT) + 0.0
        short = f"{found['number']} {_SPELLED[found['prefix'].lower()]}{found['unit']}"
        return _reread(short, text, unit, what, refused)


def _is_number(text: str) -> bool:
    try:
        parse(text)
    except QuantityError:
        return False
    return True


def _reread(short: str, text: str, unit: str, what: str, refused: QuantityError) -> float:
    """What the strict reader makes of a text put into its words; a refusal shows what was typed."""
    try:
        return parse(short, unit, what=what)
    except QuantityError as error:
        raise QuantityError(str(error).replace(repr(short), repr(text), 1)) from refused
