"""What a maker chooses for the build beside the chain: one table for page, command, print and the browser's store.

Each option knows its key, label, range and default, how it is read from text and what is said where it is refused. An
option without a default may be left empty; `optional_from` says what stands then. The link holds none of them: they
change nothing that is heard. `studies.board_as_built` holds the values.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import permutations
from types import MappingProxyType

from piezolab.chain.parameter import Choice, Parameter, Quantity
from piezolab.studies.board.lanes import METHODS
from piezolab.studies.option_kinds import Label, Legs, Sides, Signed, Whole

BOARD, PARTS, METER, TONE, PRICES, PRINT = "board", "parts", "meter", "tone", "prices", "print"
NO_DIODE = "none"
NO_LED = "none"
NO_RECORDER = "none"
#: Volts across an LED of 3 or 5 mm at about 1 mA, by colour; assumed: common practice, no source.
LED_DROP_V = MappingProxyType({"red": 1.8, "yellow": 1.9, "green": 2.0, "blue": 2.8, "white": 2.8})
SCHOTTKY = "1N5817"

_TABLE: tuple[Parameter, ...] = (
    Choice(
        "method", "kind of board", BOARD, "stripboard",
        options={key: method.title for key, method in METHODS.items()},
    ),
    Sides("board", "largest board", BOARD, hint="Such as 60x40.", optional_from="as small as it goes", low=5, high=500),
    Signed(
        "lane_width", "lane width of copper tape", BOARD, optional_from=f"{METHODS['tape'].width:g} mm",
        low=1, high=20, sign="mm",
    ),
    Choice(
        "base", "base under copper tape", BOARD, "card", options={"card": "card", "wood": "wood", "acrylic": "acrylic"},
    ),
    Choice(
        "joints", "leads on copper tape", BOARD, "surface",
        options={"surface": "soldered onto it", "holes": "through holes, tape behind"},
    ),
    Choice(
        "switch", "battery switched by", PARTS, "toggle",
        options={"toggle": "a switch in its + lead", "ring": "the jack's ring contact"},
    ),
    Choice(
        "diode", "diode against reversal", PARTS, SCHOTTKY,
        options={SCHOTTKY: f"{SCHOTTKY}, Schottky", NO_DIODE: "none"},
    ),
    Choice(
        "led", "light while the battery is on", PARTS, NO_LED, "An LED and its resistor; the drop is assumed.",
        options={NO_LED: "none", **{colour: f"{colour}, {volt:g} V" for colour, volt in LED_DROP_V.items()}},
    ),
    Choice(
        "lead", "pickup's lead", PARTS, "one", options={"one": "one core and screen", "two": "two cores and screen"},
    ),
    Legs(
        "pins", "transistor's legs", PARTS, hint="Flat face to you, legs down.", optional_from="usual for the type",
        options={" ".join(order): " ".join(order) for order in permutations("DGS")},
    ),
    Quantity(
        "meter_ohm", "meter's resistance, DC volts", METER, 10e6, "10M in most digital meters, 1M in some small ones.",
        unit="ohm", low=1e4, high=1e12,
    ),
    Whole(
        "counts", "largest number the meter shows", METER, 2000, "2000 for 3½ digits (to 1999), 20000 for 4½.",
        low=20, high=10_000_000,
    ),
    Signed(
        "accuracy", "meter's accuracy", METER, 0.01, "From its sheet, DC volts.", low=0.0, high=0.2, sign="%",
        times=100.0,
    ),
    Whole(
        "digits", "last places it may be out", METER, 3, "The 3 of ±(1 % + 3).", low=0, high=100,
    ),
    Quantity(
        "ohm_max", "largest resistance the meter shows", METER, 20e6,
        "Before it says OL or a lone 1; many cheap ones: 2M.", unit="ohm", low=1e3, high=1e12,
    ),
    Quantity(
        "test_v", "test voltage, ohms", METER, 0.4, "Open leads, all ohms ranges but the lowest.", unit="V", low=0.01,
        high=10.0,
    ),
    Quantity(
        "low_v", "test voltage, lowest ohms range", METER, 2.8, "Open leads, by a second meter.", unit="V", low=0.01,
        high=10.0,
    ),
    Quantity(
        "low_a", "test current, lowest ohms range", METER, 1e-3, "Through a second meter on mA.", unit="A", low=1e-6,
        high=0.1,
    ),
    Choice(
        "ac", "small AC volts", METER, "yes", "A range of 2 V or finer.",
        options={"yes": "it reads them", "no": "of no use"},
    ),
    Quantity("beeps_below", "beeper sounds below", METER, 50.0, unit="ohm", low=1, high=1000),
    Quantity(
        "tone_v", "the tone at its plug", TONE, 0.3, "AC volts at the plug before you connect it.", unit="V", low=0.01,
        high=3.0,
    ),
    Choice(
        "recorder", "sweeps recorded with", TONE, NO_RECORDER, "Then a sweep is among the readings asked for.",
        options={NO_RECORDER: "nothing", "interface": "an audio interface"},
    ),
    Label(
        "currency", "currency", PRICES, hint="A label for the prices; nothing is converted.",
        optional_from="that of the price list",
    ),
    Choice(
        "lettering", "sheet's lettering", PRINT, "usual", options={"usual": "usual, two pages", "large": "large"},
    ),
    Choice(
        "ink", "sheet's ink", PRINT, "colour", options={"colour": "colour", "black": "black and white"},
    ),
)  # fmt: skip

#: Every option by its key, in the order in which they are shown.
OPTIONS: Mapping[str, Parameter] = MappingProxyType({option.key: option for option in _TABLE})
#: Keys that a build sheet reads, those that the board alone is drawn by, those that the search for a fault reads.
SHEET_KEYS = tuple(key for key, option in OPTIONS.items() if option.group != TONE)
BOARD_KEYS = (*(key for key, option in OPTIONS.items() if option.group == BOARD and key != "board"), "switch", "pins")
FAULT_KEYS = (
    "method", "switch", "diode", "led", "pins", "ohm_max", "meter_ohm", "ac", "counts", "accuracy", "digits", "test_v",
    "low_v", "low_a", "tone_v", "recorder",
)  # fmt: skip


def read_option(key: str, text: str, *, typed: bool = False) -> object:
    """The value of one option's text; an empty one of an option that may be left out is None. typed: into a field of a
    page, see `Parameter.as_typed`. Raises ParameterError."""
    option = OPTIONS[key].as_typed if typed else OPTIONS[key]
    return None if option.default is None and not text.strip() else option.read(text)


def write_option(key: str, value: object) -> str:
    """The text that `read_option` turns back into this value."""
    return "" if value is None else OPTIONS[key].write(value)


def unknown_option(key: str, keys: tuple[str, ...] = tuple(OPTIONS)) -> str:
    """The sentence for a key that is no option."""
    return f"option: {key[:40]!r} is not known; allowed is {', '.join(keys[:-1])} or {keys[-1]}."
