"""How to build, in order, each caution at its own step; what the meter is for stands in `meter_steps`."""

from __future__ import annotations

from dataclasses import dataclass

from piezolab.chain.parameters import all_parameters
from piezolab.quantity import show
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.words import part_name

SHORTED = "A wrongly wired switch or a reversed clip shorts the battery: it heats fast and can burst."
SHORTED_ADAPTER = "A short heats the adapter: it stays unplugged until first power."
EARTH = (
    "Foil and strings at ground touch the player: a fault in mains gear at the cable's far end reaches them. Use "
    "undamaged gear on an outlet with a residual-current device; leave mains questions to a licensed person, and never "
    "remove a protective earth."
)

UNCLAMPED = (
    " Built in, a hard knock or a drop can still burn the gate: silent for more than some minutes after one, look for "
    "the fault (chapter 8); a clamp at the gate keeps it off (chapter 5)."
)


@dataclass(frozen=True)
class BuildStep:
    """One step to tick off; caution: what can hurt there, or nothing."""

    words: str
    caution: str = ""


def build_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """From the bag of parts to the wired board; the checks come before the box."""
    steps = [
        BuildStep(
            "Lay out all parts and tick them off the parts list."
            + (f" Read each resistor with the meter before it goes in.{_beyond(data)}" if data.powered else ""),
            "Glasses on when you clip leads or drill: ends fly.",
        )
    ]
    if data.powered:
        steps += _board_steps(data)
    steps.append(
        BuildStep(
            "Twist the disc's two leads together, and keep them so while you solder it: under two seconds on the "
            "ceramic. When it is cold untwist them and join each as the wiring shows"
            + (": hot to the gate's lane, the other to ground." if data.powered else "."),
            "A knock or heat makes tens of volts on an open disc, and heat takes its voice away. The ceramic holds "
            "lead: do not sand, file or break it, and wash your hands."
            + (UNCLAMPED if data.powered and data.chain.clamp == "none" else ""),
        )
    )
    return tuple(steps)


def _beyond(data: SheetData) -> str:
    """How to check the resistors that are larger than the meter shows: once built in no reading tells them open."""
    meter, told = data.build.meter, ""
    for item in data.assembly.where("board"):
        if item.kind == "resistor" and item.value > meter.ohm_max:
            known, both = meter.beside(float(item.value))
            told += (
                f" {part_name(item.name)} is more than it shows: beside a resistor of {show(known, 'ohm')} both must "
                f"read about {show(both, 'ohm', 2)}; {show(known, 'ohm')}: it is open."
            )
    return told


def _board_steps(data: SheetData) -> list[BuildStep]:
    feed = "supply" if data.adapter else "battery"
    plugged = data.build.method == "breadboard"
    diode = f" D1 sits in the + lead, its band towards the board: it holds back a reversed {feed}."
    steps = [
        BuildStep(
            f"{'Push in' if plugged else 'Solder'} the lowest parts first: links, resistors, film capacitors, either "
            f"way round; then electrolytics, long lead to +.{' Solder only disc, jack and clip.' if plugged else ''} "
            "Iron at 330 to 350 °C at the tip, 60/40 solder, two seconds a joint (common practice, no source).",
            "The iron burns, the fume irritates: open a window. Leaded solder: wash hands before you eat.",
        ),
        BuildStep(
            "The transistor last, once its legs are sure: see “The transistor by itself”. Order of legs drawn here: "
            f"{data.legs}, flat face towards you, legs down"
            + (f" (usual for the {data.chain.type_number})" if data.build.pins is None else "")
            + ". Yours may differ: lead each to its lane.",
        ),
        BuildStep(
            f"Wire {'socket' if data.adapter else 'clip'}, {'ring contact' if data.build.ring else 'switch'} and jack "
            f"as drawn, {'adapter' if data.adapter else 'battery'} out." + (diode if data.build.guarded else ""),
            SHORTED_ADAPTER if data.adapter else SHORTED,
        ),
    ]
    if data.led is not None or data.led_problem:
        steps.append(_light(data))
    if data.layout is not None and data.layout.sleeved:
        names = ", ".join(part_name(name) for name in data.layout.sleeved)
        words = steps[0].words + f" Sleeve where {names} cross another lane: the drawing shows at which lead."
        steps[0] = BuildStep(words, steps[0].caution)
    return steps


def _light(data: SheetData) -> BuildStep:
    """Which way round the LED goes, and whether the battery's life counts it."""
    light = data.led
    if light is None:
        return BuildStep(data.led_problem)
    lights = (
        " Join it after the ohms below: this meter's test voltage may light it."
        if data.build.meter.test_v > 0.7 * light.drop_v
        else ""
    )
    return BuildStep(
        "LED: its resistor to the long leg (+); the short leg, at the flat side of the rim, to the sleeve. Sleeve both "
        f"legs. Turned it stays dark. {light_words(data)}{lights}",
        "" if data.build.guarded else "Without D1 a reversed battery can destroy it.",
    )


def light_words(data: SheetData) -> str:
    """What the LED takes from the battery, and whether its life counts that; why there is none; "" with none wanted."""
    if data.led is None:
        return data.led_problem
    draws = f"The LED draws {show(data.led.ampere, 'A', 2)}"
    if data.adapter:
        return f"{draws}."
    label = all_parameters()["other_current"].label
    enter = f": enter {data.led.ampere * 1e3:.2g}m as “{label}”, so that battery life counts it."
    return draws + (", which battery life counts." if data.led.counted else enter)


def boxing_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """From the checked board to the closed box."""
    bare = "the copper, the jack's tip" if data.powered else "the jack's tip"
    bare += " and D1" if data.powered and data.build.guarded else ""
    how = "card under the board, sleeving over the rest" if data.powered else "sleeving over it"
    steps = [
        BuildStep(
            "Line the box with foil, every piece joined; one wire from the foil to the jack's sleeve, at one point "
            "only, and nothing else to it.",
            EARTH,
        ),
        BuildStep(f"Keep {bare} off the foil: {how}. Lid on, power off: tip to sleeve must not beep."),
    ]
    if data.powered and not data.adapter:
        steps.append(
            BuildStep("Battery last: in a clip or foam, its contacts covered, so that nothing in the box bridges them.")
        )
    if data.phantom:
        steps.append(
            BuildStep(
                "This input can send 48 V up the cable (phantom power): switch it off before you plug in.",
                "48 V behind 6.8 kΩ drives the output capacitor backwards and thumps.",
            )
        )
    return tuple(steps)
