"""The drawer: what is in it is typed as lists, what is wished goes beside it, and the best builds come out."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from ipywidgets import VBox

from piezolab import catalogue
from piezolab.chain import ChainError
from piezolab.circuit.errors import CircuitError
from piezolab.fields import parse_field
from piezolab.pages.kit.blocks import Block, Buttons, paragraphs, table
from piezolab.pages.kit.form import Field, FieldError, Form
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.wish_words import BRINGS, FAILS, WISHES
from piezolab.quantity import QuantityError, letter_code, show
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.parts_search import Build, Search, as_chain, search
from piezolab.studies.judging.wish import Wish

MOST_LIST = 400  # characters of one list
MOST_VALUES = 40
SHOWN = 8
_LIST = "With spaces, commas or semicolons between them."
FIELDS = (
    Field(
        "resistors", "resistors", "Ω", "1k 1k5 2k2 3k3 3k9 4k7 6k8 10k 22k 47k 100k 220k 470k 1M 2M2 4M7 10M", _LIST,
        most=MOST_LIST,
    ),
    Field("capacitors", "capacitors", "F", "100n 470n 1u 2u2 10u 22u 100u", most=MOST_LIST),
    Field(
        "transistors", "transistor types", "", "J113 2N5457", most=MOST_LIST,
    ),
    Field("low_note", "the lowest string may lose", "dB", "1"),
    Field("headroom", "room for hard playing, at least", "dB", "0"),
    Field("gain", "gain, at least", "dB", "-3"),
    Field("step", "thump on plugging in, at most", "V", "0.1", "Our own limit. Empty: no wish.", more=True),
    Field("settle", "settled again within", "s", "3", "Our own limit. Empty: no wish.", more=True),
    Field("dc", "direct voltage on the jack, at most", "V", "50m", "Our own limit. Empty: no wish.", more=True),
    Field("snr", "playing over hiss, at least", "dB", "", "Empty: no wish.", more=True),
    Field("current", "battery current, at most", "A", "", "Empty: no wish. Such as 1m.", more=True),
)  # fmt: skip
#: Between values.
_BETWEEN = re.compile(r"[\s;,]+")
#: A comma that may be a decimal one: that is asked, not guessed.
_ONE_OR_TWO = re.compile(r"(?<![^\s;,])\d+,\d[^\s;,]*")
KINDS = {
    "direct": "no stage at all",
    "follower": "a source follower",
    "follower at a divider": "a source follower with its gate at a divider",
    "gain": "a gain stage, source resistor not bridged",
    "gain, bypassed": "a gain stage, source resistor bridged",
}
KEYS = {"source_r": "RS", "drain_r": "RD", "gate_r": "RG", "bleed_r": "bleed", "out_c": "output",
        "bypass_c": "bridge",
        "divider_r": "divider", "divider_c": "divider bypass"}  # fmt: skip


def values_of(text: str, name: str, unit: str) -> tuple[float, ...]:
    """The values of a list. Raises FieldError naming the one that cannot be read."""
    label = next(field.label for field in FIELDS if field.name == name)
    if (unclear := _ONE_OR_TWO.search(text)) is not None:
        one = unclear[0]
        point, apart = one.replace(",", "."), one.replace(",", ", ")
        raise FieldError(name, f"{label}: {one!r} can be one value or two; write {point} or {apart}.")
    words = [word for word in _BETWEEN.split(text) if word]
    if len(words) > MOST_VALUES:
        raise FieldError(name, f"{label}: {len(words)} values are too many; allowed are up to {MOST_VALUES}.")
    found = []
    for word in words:
        try:
            value = parse_field(word, unit, what=label)
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
        if value <= 0:
            raise FieldError(name, f"{label}: {word!r} is out of range; allowed is above 0 {unit}.")
        found.append(value)
    return tuple(sorted(set(found)))


def types_of(text: str) -> tuple[DrawerTransistor, ...]:
    """Transistors by type number. Raises FieldError on one that the catalogue does not have."""
    rows = catalogue.transistors()
    known = {name.lower(): name for name in rows}
    known |= {row.type_number.lower(): name for name, row in catalogue.offered(rows).items()}
    types, found = dict.fromkeys(row.type_number for row in rows.values()), []
    for word in [word for word in re.split(r"[\s;,]+", text.strip()) if word][:MOST_VALUES]:
        if word.lower() not in known:
            raise FieldError(
                "transistors", f"transistor types: {word[:30]!r} is not known; allowed are {', '.join(types)}."
            )
        found.append(DrawerTransistor(known[word.lower()]))
    return tuple(found)


def wish_of(texts: Mapping[str, str]) -> Wish:
    """What is wished; an empty field is no wish. Raises FieldError."""
    found: dict[str, float | None] = {}
    for name, unit, low, high in (
        ("low_note", "dB", 0.0, 60.0), ("headroom", "dB", -60.0, 60.0), ("gain", "dB", -60.0, 80.0),
        ("step", "V", 1e-3, 100.0), ("settle", "s", 0.1, 3600.0), ("dc", "V", 1e-3, 100.0),
        ("snr", "dB", 0.0, 200.0), ("current", "A", 1e-6, 1.0),
    ):  # fmt: skip
        label = next(field.label for field in FIELDS if field.name == name)
        if not texts[name]:
            found[name] = None
            continue
        try:
            value = parse_field(texts[name], unit, what=label)
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
        if not low <= value <= high:
            raise FieldError(
                name, f"{label}: {texts[name]} is out of range; allowed is {show(low, unit)} to {show(high, unit)}."
            )
        found[name] = value
    return Wish(*(found[name] for name in ("low_note", "headroom", "gain", "step", "settle", "dc", "snr", "current")))


class DrawerPanel(VBox):
    """The form, the answer and a button for each build found. `wished` is called when the wishes change."""

    def __init__(self, state: PageState, wished: Callable[[Wish], None]) -> None:
        self._state, self._wished = state, wished
        self._keepsake: Keepsake | None = None
        self.bag: tuple[DrawerTransistor, ...] = ()
        self.drawer, self.found = Drawer(), None
        self.form = Form("Your drawer and your wishes", FIELDS, "look for builds", self._asked, "more wishes")
        self.answer = Block("answer", spoken=True)
        self.apply = Buttons("builds", {f"build-{n}": self._doer(n) for n in range(SHOWN)})
        super().__init__([self.form, self.answer, self.apply])

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep the lists in the visitor's browser, and take from there what was kept, the measured transistors too."""
        self._keepsake = keepsake

        def bag(rows: Sequence[Mapping[str, Any]]) -> None:
            self.bag = tuple(DrawerTransistor(**row) for row in rows)

        keepsake.use("bag", bag)
        keepsake.use("drawer", self.form.fill)

    def _asked(self, texts: Mapping[str, str]) -> str:
        wish = wish_of(texts)
        self.drawer = Drawer(
            values_of(texts["resistors"], "resistors", "ohm"), values_of(texts["capacitors"], "capacitors", "F"),
            (*self.bag, *types_of(texts["transistors"])),
        )  # fmt: skip
        if self._keepsake is not None:
            self._keepsake.keep("drawer", dict(texts))
        self._wished(wish)
        try:
            self.found = search(self._state.chain, self.drawer, wish, SHOWN)
        except (ChainError, CircuitError) as error:
            self.found = None
            raise FieldError("", f"The search could not be made for this chain: {error}") from None
        self.answer.content = answer_html(self.found, self.drawer)
        best = next((build for build in self.found.builds if build.brings), None)
        if self._keepsake is not None:
            self._keepsake.keep("found", None if best is None else build_words(best, self.drawer)[:200])
        self.apply.show([
            {"word": f"build-{n}", "label": f"put in no. {n + 1}", "note": build_words(build, self.drawer)}
            for n, build in enumerate(self.found.builds) if build.brings
        ])  # fmt: skip
        return ""

    def _doer(self, n: int) -> Callable[[], None]:
        def use() -> None:
            if self.found is not None and n < len(self.found.builds):
                self._state.put(as_chain(self._state.chain, self.drawer, self.found.builds[n]))

        return use


def build_words(build: Build, drawer: Drawer) -> str:
    """A build in one line: kind, transistor, values."""
    said = [KINDS[build.kind]]
    if build.transistor is not None:
        part = drawer.transistors[build.transistor]
        said.append(f"{catalogue.transistors()[part.jfet].type_number}{f' no. {part.name}' if part.name else ''}")
    units = {"out_c": "F", "bypass_c": "F", "divider_c": "F"}
    said += [f"{name} {letter_code(build.changes[key], units.get(key, 'ohm'))}" for key, name in KEYS.items()
             if isinstance(build.changes.get(key), float) and build.changes[key] > 0]  # fmt: skip
    return ", ".join(said)


def answer_html(found: Search, drawer: Drawer) -> str:
    """The builds as a table, and what stands in the way."""
    rows = []
    for name, build in (("now", found.before), *((f"{n + 1}", build) for n, build in enumerate(found.builds))):
        figures = build.figures
        fits = "all" if not build.fails else "no: it " + "; it ".join(FAILS[name] for name in build.fails)
        more = [BRINGS[name] for name in build.brings if name in BRINGS]
        rows.append((
            name, build_words(build, drawer) if build.kind else "your chain as it is",
            show(figures["low_note_db"], "dB", 2), _db(figures["headroom_db"]), _db(figures["gain_db"]),
            show(figures["step_v"], "V", 2) if figures["step_v"] >= 1e-3 else "none",
            show(figures["current_a"], "A", 2), fits + (f". Against yours: {', '.join(more)}" if more else ""),
        ))  # fmt: skip
    head = ("no.", "build", "lowest string", "room", "gain", "thump", "current", "fits your wishes")
    said = table(head, rows, f"The best of {found.tried} builds; values are taken to be there as often as needed.")
    if not any(build.brings for build in found.builds):
        said += paragraphs("Your chain can be built from this drawer, and nothing in it does better what you wish.")
    if found.never:
        said += paragraphs("No build at all " + ", and none ".join(WISHES[name] for name in found.never) + ".")
    for kind, lacking in found.missing.items():
        words = " and ".join(KEYS.get(key, "a transistor") for key in lacking)
        said += paragraphs(f"For {KINDS[kind]} the drawer lacks: {words}.")
    return said


def _db(value: float) -> str:
    return show(value, "dB", 2) if abs(value) < 1e6 else ("none" if value < 0 else "no limit")
