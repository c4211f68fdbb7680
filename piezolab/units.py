"""The units that component values are read and printed in, and the error for a value that cannot be read.

Internal to the ground floor: other modules use :mod:`piezolab.quantity`, which re-exports what they need.
"""

from __future__ import annotations

from dataclasses import dataclass


class QuantityError(ValueError):
    """A value, code or name that cannot be understood; the message is one plain sentence."""


#: SI prefixes as powers of ten (SI Brochure, 9th ed., table 7); capital K is also read as kilo.
PREFIXES = {"f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "M": 6, "G": 9, "T": 12}
PREFIX_NAMES = {
    "f": "femto",
    "p": "pico",
    "n": "nano",
    "u": "micro",
    "m": "milli",
    "k": "kilo",
    "M": "mega",
    "G": "giga",
    "T": "tera",
}


@dataclass(frozen=True)
class Unit:
    """How one unit is read and printed.

    key: the name the rest of the package uses; words: plural, for sentences; symbol: printed form; aliases:
    spellings accepted after a number or prefix; prefixes: allowed ones; point: the letter that stands for
    the decimal point of an unprefixed value (IEC 60062: R, F; common practice: V); coded: always printed as
    an IEC 60062 letter code; terse: prefix letters may shorten the link text; example: shown when a text is
    refused.
    """

    key: str
    words: str
    symbol: str
    aliases: tuple[str, ...]
    prefixes: str
    example: str
    point: str = ""
    coded: bool = False
    terse: bool = True

    @property
    def advice(self) -> str:
        """The end of most refusals."""
        return f"write for example {self.example}."


_UNITS = (
    Unit(
        "ohm",
        "ohms",
        "Ω",
        ("ohm", "ohms", "Ohm", "Ohms", "Ω"),
        "kMGT",
        "4M7, 560R or 3.3 kohm",
        point="R",
        coded=True,
    ),
    Unit("F", "farads", "F", ("F", "farad", "farads"), "pnum", "15n, 2u2 or 100 pF", point="F", coded=True),
    Unit("V", "volts", "V", ("V", "volt", "volts"), "pnumk", "9, 3V3 or 250 mV", point="V"),
    Unit("A", "amperes", "A", ("A", "amp", "amps", "ampere", "amperes"), "fpnumk", "2m, 0.5 mA or 20u"),
    # No bare m: after a number it can only mean metres.
    Unit("m", "metres", "m", ("m", "metre", "metres", "meter", "meters"), "num", "0.3, 30 cm or 27 mm"),
    Unit("F/m", "farads per metre", "F/m", ("F/m",), "pnum", "100p or 100 pF/m"),
    Unit("Hz", "hertz", "Hz", ("Hz", "hertz"), "mkMG", "440, 4k2 or 4.2 kHz"),
    Unit(
        "V/rtHz",
        "volts per root hertz",
        "V/√Hz",
        ("V/rtHz", "V/√Hz", "V/sqrtHz", "V/sqrt(Hz)"),
        "pnum",
        "8n or 8 nV/√Hz",
    ),
    Unit("1/V", "values per volt", "/V", ("/V", "1/V", "V^-1", "V⁻¹"), "m", "0.02 or 0.02 /V", terse=False),
    Unit("degC", "degrees Celsius", "°C", ("degC", "°C", "C", "℃"), "", "25 or 25 °C", terse=False),
    Unit("dB", "decibels", "dB", ("dB",), "", "20 or 20 dB", terse=False),
    Unit("W", "watts", "W", ("W", "watt", "watts"), "pnumk", "250m or 0.25 W"),
    Unit("J", "joules", "J", ("J", "joule", "joules"), "pnumk", "20u or 20 uJ"),
    Unit("h", "hours", "h", ("h", "hour", "hours"), "", "600 or 600 h", terse=False),
    Unit("s", "seconds", "s", ("s", "sec", "second", "seconds"), "pnum", "0.5 or 20 ms"),
    Unit("S", "siemens", "S", ("S", "siemens"), "pnum", "2m or 2 mS"),
    Unit("Ah", "ampere-hours", "Ah", ("Ah",), "m", "0.5 or 500 mAh", terse=False),
    Unit("", "a plain number", "", (), "fpnumkMGT", "0.02 or 2 %", terse=False),
)

UNITS = {u.key: u for u in _UNITS}


def unit_named(key: str) -> Unit:
    """The unit called ``key``; raises :class:`QuantityError` for one this package does not know."""
    try:
        return UNITS[key]
    except KeyError:
        raise QuantityError(
            f"unit: {key!r} is not known; use one of {', '.join(u for u in UNITS if u)}."
        ) from None
