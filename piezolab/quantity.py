"""Read and print component values; decibels, preferred numbers and part markings.

Values are floats in the SI base unit named by ``unit``: one of the keys of :data:`piezolab.units.UNITS`
(``ohm``, ``F``, ``V``, ``A``, ``m``, ``F/m``, ``Hz``, ``V/rtHz``, ``1/V``, ``degC``, ``dB``, ``W``, ``h``,
``s``, ``S``, ``Ah`` or ``""``). Upper-case ``M`` is mega and lower-case ``m`` is milli, always. Letter
codes: IEC 60062:2016, clause 4 (from memory).
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from piezolab.marking import (
    SERIES_NAMES,
    colour_bands,
    from_colour_bands,
    from_three_digit_code,
    nearest_preferred,
    preferred_between,
    series,
    three_digit_code,
    tolerance_from_letter,
    tolerance_letter,
)
from piezolab.units import PREFIX_NAMES, PREFIXES, UNITS, QuantityError, Unit, unit_named
from piezolab.written import letter_code, show

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "SERIES_NAMES",
    "QuantityError",
    "colour_bands",
    "dbu",
    "dbv",
    "decibels",
    "from_colour_bands",
    "from_decibels",
    "from_three_digit_code",
    "letter_code",
    "nearest_preferred",
    "parse",
    "preferred_between",
    "series",
    "show",
    "three_digit_code",
    "tolerance_from_letter",
    "tolerance_letter",
]

MAX_TEXT = 40

# Not Unicode's own compatibility folding: that would turn 10² into 102.
_SAME = str.maketrans(
    {"µ": "u", "μ": "u", "\u2126": "Ω", "−": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " "}
)
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<whole>[0-9]+)(?:(?P<mark>[.,])(?P<part>[0-9]*))?|[.,](?P<bare>[0-9]+))"
    r"(?:[eE](?P<exp>[+-]?[0-9]{1,4}))?\s*(?P<suffix>[^0-9.,]*)"
)
_CODE = re.compile(
    r"(?P<sign>[+-]?)(?P<whole>[0-9]*)(?P<letter>[A-DF-Za-df-z])(?P<part>[0-9]+)\s*(?P<suffix>[^0-9.,]*)"
)
# 0,047 is not among these: no one groups digits after a nought.
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
_GROUPED = re.compile(
    r"[+-]?[0-9]{1,3}(?:[,' ][0-9]{3})+(?:\.[0-9]*)?|[+-]?[0-9]{1,3}(?:\.[0-9]{3}){2,}(?:,[0-9]*)?"
)


def parse(text: str, unit: str = "", *, what: str = "value") -> float:
    """Read one value as a maker writes it; returns it in the base unit.

    Reads IEC 60062 letter codes (``3M3``, ``R47``, ``2p2``), SI forms (``3.3 Mohm``, ``0.0047u``, ``4,7k``,
    ``10 µF``), both micro and both ohm signs, ``K`` as kilo, ``30 cm`` for lengths, ``2 %`` for plain
    numbers, and plain numbers in the base unit (``1.5e-8``). The result is the float nearest to the decimal
    text: ``parse("15n", "F") == 1.5e-8``.

    Raises :class:`QuantityError`, with ``what`` naming the field, for anything else: another unit, a prefix
    that the unit never takes (milliohms, megafarads), a separator that may mean thousands, not-a-number,
    infinity, more than 40 characters.
    """
    u = unit_named(unit)
    if not isinstance(text, str):
        raise QuantityError(f"{what}: {type(text).__name__} is not text; {u.advice}")
    if len(text) > MAX_TEXT:
        raise QuantityError(f"{what}: {text[:20]!r}... is longer than {MAX_TEXT} characters; {u.advice}")
    clean = re.sub(r"\s1/V$", " /V", text.translate(_SAME).strip())
    if found := _CODE.fullmatch(clean):
        power = _code_power(found, u, what, text)
    elif found := _NUMBER.fullmatch(clean):
        if _MAYBE_THOUSANDS.match(clean):
            whole, part, rest = found["whole"], found["part"], clean[found.end("part") :]
            both = f"{whole}.{part}{rest} or {whole}{part}{rest}"
            raise QuantityError(
                f"{what}: {text!r} can be read in two ways; write {both}, whichever is meant."
            )
        power = _suffix_power(found["suffix"], u, what, text, clean[: found.start("suffix")])
    else:
        raise _unreadable(text, clean, u, what)
    number = found.groupdict()
    digits = f"{number['whole'] or '0'}.{number['part'] or number.get('bare') or '0'}"
    # Python rounds decimal text correctly; multiplying by the prefix would round a second time.
    value = float(f"{number['sign']}{digits}e{int(number.get('exp') or 0) + power}")
    if math.isinf(value) or (value == 0 and digits.strip("0.")):
        raise QuantityError(f"{what}: {text!r} is too {'large' if value else 'small'}; {u.advice}")
    return value + 0.0  # -0 becomes 0


def _code_power(found: re.Match[str], u: Unit, what: str, text: str) -> int:
    """Power of ten for the letter of a code such as 4k7, where the letter stands for the decimal point."""
    letter, suffix = found["letter"], "".join(found["suffix"].split())
    if u.key == "m" and letter == "m":
        raise QuantityError(f"{what}: {text!r} may mean metres or millimetres; {u.advice}")
    # r and v cannot mean anything else, but 1f5 might be femtofarads.
    point = letter.upper() if letter in "rv" else letter
    if point == u.point and suffix in ("", *u.aliases):
        return 0
    for other in UNITS.values():
        if other.point == point and other is not u:
            raise _wrong_unit(text, other, u, what)
    # The letter must be a prefix of its own, not the first letter of the unit (4H7z, 3f3arad).
    if not {letter, letter.swapcase()} & PREFIXES.keys() or suffix and _is_alias(letter + suffix, u, False):
        raise _unreadable(text, "", u, what)
    return _suffix_power(letter + suffix, u, what, text, f"{found['sign']}{found['whole']}", found["part"])


def _suffix_power(suffix: str, u: Unit, what: str, text: str, head: str, tail: str = "") -> int:
    """Power of ten for what follows the number; ``head`` and ``tail`` rebuild the text for a hint."""
    suffix = "".join(suffix.split())
    power = _match(suffix, u)
    if power is not None:
        return power
    rest = suffix[1:]

    def remade(letter: str) -> str:
        return f"{head}{letter}{tail}{' ' * bool(tail and rest)}{rest}"

    likely = (suffix[:1].swapcase(), *("u" if suffix[:1] == "M" else ""))
    instead = [p for p in likely if p in PREFIXES and p in u.prefixes and _match(p + rest, u) is not None]
    prefix = suffix[:1].replace("K", "k")
    if prefix in PREFIXES and (not rest or _is_alias(rest, u, True)):
        if not u.prefixes:
            raise QuantityError(
                f"{what}: {text!r} has the prefix {PREFIX_NAMES[prefix]}, but {u.words} take none, "
                f"for example {u.example}."
            )
        advice = f"did you mean {' or '.join(map(remade, instead))}?" if instead else u.advice
        raise QuantityError(f"{what}: {text!r} would be {PREFIX_NAMES[prefix]}{u.words}; {advice}")
    for other in UNITS.values():
        if other is not u and suffix and _match(suffix, other, bare=False) is not None:
            raise _wrong_unit(text, other, u, what)
    if instead:
        raise QuantityError(
            f"{what}: {text!r} cannot be read; did you mean {' or '.join(map(remade, instead))}?"
        )
    raise _unreadable(text, "", u, what)


def _match(suffix: str, u: Unit, *, bare: bool = True) -> int | None:
    """Power of ten of a suffix that is a unit, a prefix and unit or (``bare``) a prefix alone; else None."""
    if not suffix or _is_alias(suffix, u, False):
        return 0
    if u.key == "" and suffix == "%" or u.key == "m" and suffix[0] == "c" and suffix[1:] in u.aliases:
        return -2
    if u.key == "ohm" and suffix[0] in "Rr" and (not suffix[1:] or suffix[1:] in u.aliases):
        return 0
    prefix, rest = suffix[0].replace("K", "k"), suffix[1:]
    if prefix not in u.prefixes or not (rest and _is_alias(rest, u, True) or bare and not rest):
        return None
    return PREFIXES[prefix]


def _is_alias(text: str, u: Unit, after_prefix: bool) -> bool:
    """Whether ``text`` names the unit; wrong capitals (``10 uf``) are forgiven if unambiguous."""
    if text in u.aliases:
        return True
    if text in PREFIXES and not after_prefix or any(text in other.aliases for other in UNITS.values()):
        return False
    return text.lower() in {alias.lower() for alias in u.aliases}


def _wrong_unit(text: str, other: Unit, u: Unit, what: str) -> QuantityError:
    return QuantityError(
        f"{what}: {text!r} is in {other.words}, but {u.words} {'is' if not u.key else 'are'} expected here, "
        f"for example {u.example}."
    )


def _unreadable(text: str, clean: str, u: Unit, what: str) -> QuantityError:
    """Why text that fits no form was refused."""
    if not text.strip():
        reason = "is empty"
    elif re.match(r"[+-]?(?:nan|inf)", clean, re.IGNORECASE) or "∞" in clean:
        reason = "is not a finite number"
    elif _GROUPED.match(clean):
        reason = "has marks between the digits that may mean thousands or a decimal point"
    elif len(re.findall(r"[0-9]+(?:[.,][0-9]+)?", clean)) > 1:
        reason = "is not one single number"
    else:
        reason = "cannot be read"
    return QuantityError(f"{what}: {text!r} {reason}; {u.advice}")


def decibels(ratio: ArrayLike) -> float | NDArray:
    """20·log10 of the magnitude of an amplitude ratio (real or complex, any shape); 0 gives −inf."""
    import numpy as np

    with np.errstate(divide="ignore"):
        level = 20.0 * np.log10(np.abs(ratio))
    return level if np.ndim(level) else float(level)


def from_decibels(db: ArrayLike) -> float | NDArray:
    """Amplitude ratio of a level in dB (any shape)."""
    import numpy as np

    ratio = 10.0 ** (np.asarray(db, dtype=float) / 20.0)
    return ratio if np.ndim(ratio) else float(ratio)


def dbu(v_rms: ArrayLike) -> float | NDArray:
    """Level in dBu of a voltage in V rms (any shape); 0 dBu is √0.6 V (IEC 60027-3, from memory)."""
    import numpy as np

    return decibels(np.asarray(v_rms) / math.sqrt(0.6))


def dbv(v_rms: ArrayLike) -> float | NDArray:
    """Level in dBV of a voltage in V rms (any shape); 0 dBV is 1 V."""
    return decibels(v_rms)
