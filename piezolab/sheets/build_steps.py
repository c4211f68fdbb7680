"""What to do, in order, each caution at its own step. Sentences only; the numbers come from the sheet's data."""

from __future__ import annotations

from dataclasses import dataclass

from piezolab import catalogue
from piezolab.chain.parts import GROUND
from piezolab.quantity import show
from piezolab.sheets.first_power_words import clip_words, reversed_words, unseen_words, waiting
from piezolab.sheets.ranges import ends, ohms, volts
from piezolab.sheets.sheet_data import JIG_OHM, SheetData
from piezolab.sheets.tables import beeping_pairs
from piezolab.sheets.words import lane_name, part_name
from piezolab.studies.metering.first_power import FULL
from piezolab.studies.metering.tone_on_board import TONE_HZ, TONE_V_RMS

LOWEST = "Go down the ranges as long as they show a number: 1. or OL means over range."
SHORTED = "A wrongly wired switch or a reversed clip shorts the battery: it heats fast and can burst."


@dataclass(frozen=True)
class BuildStep:
    """One step to tick off; caution: what can hurt there, or nothing."""

    words: str
    caution: str = ""


def build_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """From the bag of parts to the closed box."""
    steps = [
        BuildStep(
            "Lay out all parts and tick them off the parts list."
            + (" Read each resistor with the meter before it goes in." if data.powered else ""),
            "Glasses on when you clip leads or drill: ends fly.",
        )
    ]
    if data.powered:
        steps += _board_steps(data)
    steps.append(
        BuildStep(
            "Twist the disc's two leads together, and keep them so while you solder it: under two seconds on the "
            "ceramic, then let it cool. Only then join it to the " + ("board." if data.powered else "jack."),
            "A knock or heat makes tens of volts on an open disc, and heat takes its voice away. The ceramic holds "
            "lead: do not sand, file or break it, and wash your hands.",
        )
    )
    steps += _box_steps(data)
    return tuple(steps)


def _board_steps(data: SheetData) -> list[BuildStep]:
    diode = " D1 sits in the + lead, its band towards the board: it holds back a reversed battery."
    steps = [
        BuildStep(
            "Solder the lowest parts first: links, resistors, film capacitors; then electrolytics, long lead to +. "
            "Iron at 330 to 350 °C at the tip, 60/40 solder, two seconds a joint (common practice, no source).",
            "The iron burns, the fume irritates: open a window. Leaded solder: wash hands before you eat.",
        ),
        BuildStep(
            "The transistor last, once its legs are sure: see the check overleaf. Order of legs drawn here: "
            f"{data.board_options.pins}, flat face towards you, legs down"
            + (f" (usual for the {data.chain.type_number})" if data.build.pins is None else "")
            + ". Yours may differ: lead each to its lane.",
        ),
        BuildStep(
            "Wire battery, "
            + ("ring contact" if data.build.ring else "switch")
            + " and jack as drawn."
            + (diode if data.build.guarded else ""),
            SHORTED,
        ),
    ]
    if data.layout is not None and data.layout.sleeved:
        names = ", ".join(part_name(name) for name in data.layout.sleeved)
        words = steps[0].words + f" Sleeve the leads of {names}: they cross other lanes."
        steps[0] = BuildStep(words, steps[0].caution)
    return steps


def _box_steps(data: SheetData) -> list[BuildStep]:
    steps = [
        BuildStep(
            "Line the box with foil, every piece joined; one wire from the foil to the jack's sleeve, at one point "
            "only, and nothing else to it.",
            "Foil and strings at ground touch the player: a fault in mains gear at the cable's far end reaches them. "
            "Use undamaged gear on an outlet with a residual-current device; leave mains questions to a licensed "
            "person, and never remove a protective earth.",
        )
    ]
    own = caution_of_battery(data)
    if data.powered and own:
        steps.append(
            BuildStep(
                "Hold the battery in a clip or foam, its contacts covered, so that nothing in the box can bridge them. "
                "It goes in last, after the checks.",
                "" if own.rpartition(": ")[2] in SHORTED else own,
            )
        )
    if data.powered and data.chain.supply == "adapter":
        steps.append(
            BuildStep(
                "Use a closed adapter with the mark of a test house; check + and − with the meter before it meets the "
                "board.",
                "Never open an adapter or any mains gear.",
            )
        )
    if data.phantom:
        steps.append(
            BuildStep(
                "This input can send 48 V up the cable (phantom power): switch it off before you plug in.",
                "48 V behind 6.8 kΩ drives the output capacitor backwards and thumps.",
            )
        )
    return steps


def transistor_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """Which leg is the gate, which type of channel, and the two readings of the jig."""
    if data.transistor is None or data.jig is None:
        return ()
    check = data.transistor
    steps = [
        BuildStep(
            f"Diode test: red on the gate, black on either other leg: {volts(check.junction)}; exchanged: over range. "
            "One leg does so to both others: the gate; red on it says n-channel. Black on it instead: a p-channel "
            "part, not for this board."
        ),
        BuildStep(
            f"Gate and one leg joined, ohms: red on the third, {ohms(check.channel)}; black on it, "
            f"{ohms(check.exchanged)}. Drain and source usually cannot be told apart and may be exchanged: "
            f"{_exchanged(data)}"
        ),
        BuildStep(
            "Jig (gate to −, drain to +, resistor from source to −), volts across the resistor: "
            + "; ".join(
                f"{show(ohm, 'ohm', 2)}: {volts(band)}"
                for ohm, band in zip(JIG_OHM, data.jig, strict=True)
            )
            + ". Enter both on the page: the sheet then speaks of your part."
        ),
    ]
    return tuple(steps)


def _exchanged(data: SheetData) -> str:
    if data.exchange is None:
        return ""
    before, after = data.exchange.gain
    if abs(after - before) <= 0.01 * before:
        return "nothing changes that you could hear."
    return f"the volts stay, the gain at 1 kHz goes from {before:.3g} to {after:.3g}."


def power_off_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """Before any battery: continuity, ohms."""
    pairs = beeping_pairs(data)
    beeps = "from lane to lane nothing may beep" if not pairs else "from lane to lane only these may: " + "; ".join(
        f"{lane_name(a)} to {lane_name(b)}" for a, b in pairs
    )
    return (
        BuildStep(f"No battery, nothing plugged in. Beeper: from end to end of a lane every lead must beep; {beeps}."),
        BuildStep(
            f"Ohms between lanes as in the table. {LOWEST} Where a capacitor hangs, wait until it stands still."
        ),
    )


def first_power_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """The first meeting of board and battery, through the resistor."""
    power = data.power
    if power is None:
        return ()
    adapter, guarded = data.chain.supply == "adapter", data.build.guarded
    source, contacts = ("supply", "supply's") if adapter else ("battery", "clip's")
    off, on = ("Plug out", "A bare plug in the jack") if data.build.ring else ("Switch off", "Switch on")
    end, fresh = power.clip_v
    low, high = ends(power.healthy)
    steps = [
        BuildStep(
            f"Ohms at the {contacts} contacts. {off}: over range. {on}: red on +, {ohms(power.clip_on)}; red on −, "
            f"{ohms(power.clip_on_reversed)}. {clip_words(data)}"
        ),
        BuildStep(
            f"Polarity: {source} alone on the meter, {end:.1f} to {fresh:.1f} V with red on +; no minus sign. Red wire "
            "of the clip to that contact."
        ),
        BuildStep(
            f"A {show(power.series_ohm, 'ohm', 1)} resistor ({power.watt:g} W; {power.watt_needed * 1000:.0f} mW at "
            f"worst) between the {source}'s + contact and the clip's + wire, before switch and all else. Meter on DC "
            f"volts across it, red on the {source}. {on}, wait {waiting(power.wait_s)}, read:",
        ),
        BuildStep(f"{low} to {high}: healthy so far; the supply lane must be + to ground."),
        BuildStep(reversed_words(data)),
        BuildStep(
            f"Above {high}: a short round the stage, or the wrong part: off. Above {FULL * 100:.0f} % of the "
            f"{source}'s volts: a dead short: off."
            + ("" if power.full_is_clear else " A healthy board can read as much here: trust the ohms instead.")
        ),
        BuildStep(
            f"Below {low}, 0 V too: {'D1 turned or open, ' if guarded else ''}switch, open joint or wrong legs: off, "
            f"check by ohms; do not turn the {source}."
        ),
    ]
    unseen = unseen_words(power)
    if unseen:
        steps.append(BuildStep(f"This test cannot tell: {unseen}"))
    heat = (
        f"A dead short would draw {power.short.ampere:.1f} A and make {power.short.watt:.0f} W of heat in the battery. "
        if power.short
        else ""
    )
    steps.append(
        BuildStep(
            f"Only then straight to the {source}: ten seconds, a finger on {source} and parts. Nothing may get warm.",
            heat
            + f"Warm: off, unclip. Hot {source}: set it down away from people; do not touch a swollen one."
            if not adapter
            else "Warm: switch off and unplug the adapter from the outlet.",
        )
    )
    return tuple(steps)


def power_on_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """Volts of every lane, then the tone."""
    meter = data.build.meter
    steps = [
        BuildStep(
            f"DC volts of each lane to ground, as in the lanes' table. Meter of {show(meter.input_ohm, 'ohm', 2)}, "
            "attached and counted; spent to fresh battery, 1 % resistors, 98 of 100 transistors of the type"
            + ("; * the meter itself lowers this reading." if any(row.loaded for row in data.volts) else ".")
        )
    ]
    if data.tone_shows:
        steps.append(
            BuildStep(
                f"A tone of {TONE_HZ:.0f} Hz (the page plays one) from a headphone socket, turned to "
                f"{TONE_V_RMS * 1000:.0f} mV by the meter on AC volts: its ground to the ground lane, its tip through "
                "1 µF to the gate lane. AC volts of each lane as in the table.",
                "Loudspeaker down and headphones off while you probe.",
            )
        )
    return tuple(steps)


def caution_of_battery(data: SheetData) -> str:
    """The caution of the chain's own battery, from the catalogue."""
    return "" if data.chain.supply == "adapter" else catalogue.batteries()[data.chain.supply].caution


__all__ = [
    "GROUND", "BuildStep", "build_steps", "caution_of_battery", "first_power_steps", "power_off_steps",
    "power_on_steps", "transistor_steps",
]  # fmt: skip
