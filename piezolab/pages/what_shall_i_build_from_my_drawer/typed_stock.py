"""What is typed or pasted as a drawer: values and transistor types, each with its count where that is said."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import astuple

from piezolab import catalogue
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.fields import parse_field
from piezolab.pages.kit.form import Field, FieldError
from piezolab.quantity import QuantityError, preferred_between, show
from piezolab.studies.choosing.drawer import MOST_PERCENT, Drawer, DrawerTransistor
from piezolab.studies.judging.outlay import PRICED, PiecePrices
from piezolab.studies.judging.wish import Wish

MOST_LIST = 400  # characters of one list
MOST_VALUES = 40
MOST_COUNT = 9999
MOST_PRICE, MOST_PRICES = 1e6, 80  # a price; characters of the four
INVENTED = astuple(PiecePrices.demonstration())
SERIES, SERIES_RANGE = "E12", (10.0, 10e6)  # what a tick adds, ohm
_LIST = "3 x 4k7: three of them; 4k7: any number."
FIELDS = (
    Field(
        "resistors", "resistors", "Ω", "1k 1k5 2k2 3k3 3k9 4k7 6k8 10k 22k 47k 100k 220k 470k 1M 2M2 4M7 10M", _LIST,
        most=MOST_LIST,
    ),
    Field("capacitors", "capacitors", "F", "100n 470n 1u 2u2 10u 22u 100u", most=MOST_LIST),
    Field("transistors", "transistor types", "", "J113 2N5457", most=MOST_LIST),
    Field("low_note", "the lowest string may lose", "dB", "1"),
    Field("headroom", "room for hard playing, at least", "dB", "0"),
    Field("gain", "gain, at least", "dB", "-3"),
    Field("series", "and all of E12, 10 Ω to 10 MΩ", tick=True, more=True),
    Field("step", "thump on plugging in, at most", "V", "0.1", "Our own limit. Empty: no wish.", more=True),
    Field("settle", "settled again within", "s", "3", "Our own limit. Empty: no wish.", more=True),
    Field("dc", "direct voltage on the jack, at most", "V", "50m", "Our own limit. Empty: no wish.", more=True),
    Field("snr", "playing over hiss, at least", "dB", "", "Empty: no wish.", more=True),
    Field("current", "battery current, at most", "A", "", "Empty: no wish. Such as 1m.", more=True),
    Field("life", "the battery to last, at least", "h", "", "Empty: no wish. Such as 500.", more=True),
    Field("parts", "parts of the stage, at most", "", "", "Empty: no wish.", more=True),
    Field("cost", "what they cost, at most", "", "", "Empty: no wish. At the prices below.", more=True),
    Field(
        "prices", "a resistor, film, electrolytic, transistor each cost", "", " ".join(f"{x:g}" for x in INVENTED),
        "Invented prices: write your own.", more=True, most=MOST_PRICES,
    ),
    Field("resistor_percent", "the resistors' tolerance", "%", "5", "1 for brown bands, 5 for gold ones.", more=True),
    Field("capacitor_percent", "the capacitors' tolerance", "%", "20", more=True),
)  # fmt: skip
#: Between values.
_BETWEEN = re.compile(r"[\s;,]+")
#: A comma that may be a decimal one: that is asked, not guessed.
_ONE_OR_TWO = re.compile(r"(?<![^\s;,])\d+,\d[^\s;,]*")
#: A count, with or without spaces around its sign.
_COUNTED = re.compile(r"(?<![^\s;,])(\d+)\s*[x×*]\s*(?=[^\s;,])", re.I)
_ENTRY = re.compile(r"(?:(\d+)×)?(.+)")


def label_of(name: str) -> str:
    """A field's label."""
    return next(field.label for field in FIELDS if field.name == name)


def _entries(text: str, name: str) -> list[tuple[str, int | None]]:
    """The words of a list, each with its count or None. Raises FieldError."""
    label, joined = label_of(name), _COUNTED.sub(r"\1×", text)
    words = [word for word in _BETWEEN.split(joined) if word]
    if len(words) > MOST_VALUES:
        raise FieldError(name, f"{label}: {len(words)} values are too many; allowed are up to {MOST_VALUES}.")
    found = []
    for word in words:
        count, rest = _ENTRY.fullmatch(word).groups()
        if count is not None and not 1 <= (0 if len(count) > 6 else int(count)) <= MOST_COUNT:
            raise FieldError(name, f"{label}: {word[:30]!r} counts {count[:12]}; allowed is 1 to {MOST_COUNT} of each.")
        found.append((rest, None if count is None else int(count)))
    return found


def stock_of(text: str, name: str, unit: str) -> dict[float, int | None]:
    """The values of a list and how many there are of each, None: as many as needed. The same value said twice counts
    together. Raises FieldError naming the one that cannot be read."""
    label = label_of(name)
    if (unclear := _ONE_OR_TWO.search(text)) is not None:
        one = unclear[0]
        point, apart = one.replace(",", "."), one.replace(",", ", ")
        raise FieldError(name, f"{label}: {one!r} can be one value or two; write {point} or {apart}.")
    found: dict[float, int | None] = {}
    for word, count in _entries(text, name):
        try:
            value = parse_field(word, unit, what=label)
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
        if value <= 0:
            raise FieldError(name, f"{label}: {word!r} is out of range; allowed is above 0 {unit}.")
        had = found.get(value, 0)
        found[value] = None if count is None or had is None else had + count
    return dict(sorted(found.items()))


def types_of(text: str) -> tuple[DrawerTransistor, ...]:
    """Transistors by type number. Raises FieldError on one that the catalogue does not have."""
    rows = catalogue.transistors()
    known = {name.lower(): name for name in rows}
    known |= {row.type_number.lower(): name for name, row in catalogue.offered(rows).items()}
    types = dict.fromkeys(row.type_number for row in rows.values())
    found: dict[str, int | None] = {}
    for word, count in _entries(text, "transistors"):
        if word.lower() not in known:
            raise FieldError(
                "transistors", f"transistor types: {word[:30]!r} is not known; allowed are {', '.join(types)}."
            )
        name = known[word.lower()]
        had = found.get(name, 0)
        found[name] = None if count is None or had is None else had + count
    return tuple(DrawerTransistor(name, count=count) for name, count in found.items())


def measured_of(texts: Sequence[str]) -> tuple[DrawerTransistor, ...]:
    """Measured transistors from texts such as `1=J113:6.2m:-1.6` or `1=J113:6.2m:-1.6:10`: name, type, I_DSS, V_GS(off)
    and the V_DS of that I_DSS. Raises FieldError."""
    found = []
    for text in texts:
        name, _, rest = text.partition("=")
        type_word, *numbers = rest.split(":")
        if not 2 <= len(numbers) <= 3 or not 0 < len(name.strip()) <= 20:
            raise FieldError(
                "measured", f"measured: {text[:40]!r} cannot be read; allowed is such as 1=J113:6.2m:-1.6."
            )
        (kind,) = types_of(type_word) or (None,)
        values = {}
        for key, number in zip(("idss", "vgsoff", "vds"), numbers, strict=False):
            try:
                values[key] = all_parameters()[f"jfet_{key}"].as_typed.read(number)
            except ParameterError as error:
                raise FieldError("measured", f"measured {name.strip()!r}: {error}") from None
        if kind is None:
            raise FieldError("measured", f"measured: {text[:40]!r} names no type; allowed is such as 1=J113:6.2m:-1.6.")
        found.append(DrawerTransistor(kind.jfet, name=name.strip(), **values))
    return tuple(found)


def drawer_of(texts: Mapping[str, str], bag: tuple[DrawerTransistor, ...] = ()) -> Drawer:
    """The drawer that the form's texts and the bag of measured transistors make. Raises FieldError."""
    resistors = stock_of(texts["resistors"], "resistors", "ohm")
    capacitors = stock_of(texts["capacitors"], "capacitors", "F")
    if texts["series"]:
        resistors |= dict.fromkeys(preferred_between(*SERIES_RANGE, SERIES), None)
    counts = {value: count for value, count in (resistors | capacitors).items() if count is not None}
    percents = [_number(texts, name, "", 0.0, MOST_PERCENT) for name in ("resistor_percent", "capacitor_percent")]
    for name, value in zip(("resistor_percent", "capacitor_percent"), percents, strict=True):
        if value is None:
            raise FieldError(name, f"{label_of(name)}: nothing is there; allowed is 0 to {MOST_PERCENT:g} %.")
    return Drawer(tuple(resistors), tuple(capacitors), (*bag, *types_of(texts["transistors"])), counts, *percents)


def _number(texts: Mapping[str, str], name: str, unit: str, low: float, high: float) -> float | None:
    """A field's value, None where it is empty. Raises FieldError."""
    if not texts[name]:
        return None
    label, per = label_of(name), " %" if name.endswith("percent") else ""
    try:
        value = parse_field(texts[name], unit, what=label)
    except QuantityError as error:
        raise FieldError(name, str(error)) from None
    if not low <= value <= high:
        ends = f"{show(low, unit)} to {show(high, unit)}" if unit else f"{low:g} to {high:g}{per}"
        raise FieldError(name, f"{label}: {texts[name]} is out of range; allowed is {ends}.")
    return value


def wish_of(texts: Mapping[str, str]) -> Wish:
    """What is wished; an empty field is no wish. Raises FieldError."""
    names = (
        "low_note_db", "headroom_db", "gain_db", "step_v", "settle_s", "dc_v", "snr_db_a", "current_a", "life_h",
        "parts", "cost",
    )  # fmt: skip
    found = [
        _number(texts, name, unit, low, high)
        for name, unit, low, high in (
            ("low_note", "dB", 0.0, 60.0), ("headroom", "dB", -60.0, 60.0), ("gain", "dB", -60.0, 80.0),
            ("step", "V", 1e-3, 100.0), ("settle", "s", 0.1, 3600.0), ("dc", "V", 1e-3, 100.0),
            ("snr", "dB", 0.0, 200.0), ("current", "A", 1e-6, 1.0), ("life", "h", 0.1, 1e6), ("parts", "", 1.0, 50.0),
            ("cost", "", 0.01, 1e6),
        )
    ]  # fmt: skip
    return Wish(**dict(zip(names, found, strict=True)), prices=None if found[-1] is None else prices_of(texts))


def prices_of(texts: Mapping[str, str]) -> PiecePrices:
    """What a resistor, a film capacitor, an electrolytic and a transistor cost. Raises FieldError."""
    words = [word for word in re.split(r"[\s;]+", texts["prices"]) if word]
    try:
        values = [float(word) for word in words]
    except ValueError:
        values = []
    if len(values) != len(PRICED) or not all(0 <= value <= MOST_PRICE for value in values):
        raise FieldError(
            "prices", f"prices: {texts['prices'][:40]!r} cannot be read; allowed are four numbers from 0 to "
            f"{MOST_PRICE:g}, such as 0.05 0.3 0.2 0.9.",
        )  # fmt: skip
    return PiecePrices(*values)
