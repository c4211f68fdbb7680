"""What to do with the meter, in order, each caution at its own step. Sentences only; the numbers come from the data."""

from __future__ import annotations

from piezolab import catalogue
from piezolab.quantity import show
from piezolab.sheets.build_steps import SHORTED, BuildStep
from piezolab.sheets.first_power_words import clip_words, reversed_words, unseen_words, volt_range, waiting
from piezolab.sheets.ranges import ends, ohms, volts
from piezolab.sheets.sheet_data import JIG_OHM, SheetData
from piezolab.sheets.tables import beeping_pairs
from piezolab.sheets.words import whose_part
from piezolab.studies.metering.first_power import FULL, FirstPower
from piezolab.studies.metering.tone_on_board import COUPLING_F, TONE_HZ, TONE_V_RMS

LOWEST = "Go down the ranges as long as they show a number: 1. or OL means over range."
SOCKET = "Red lead in the meter's V socket: in A the meter is a short."


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
            f"Jig on the {'adapter' if data.adapter else 'battery'} (gate to −, drain to +, resistor from source to "
            "−), volts across the resistor: "
            + "; ".join(
                f"{show(ohm, 'ohm', 2)}: {volts(band)}"
                for ohm, band in zip(JIG_OHM, data.jig, strict=True)
            )
            + ". Enter both on the page: the sheet then speaks of your part.",
            f"{'Adapter' if data.adapter else 'Battery'} off while parts change. {SOCKET}",
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
        f"{data.lane(a)} to {data.lane(b)}" for a, b in pairs
    )
    return (
        BuildStep(
            f"{'No adapter' if data.adapter else 'No battery'}, nothing plugged in. Beeper: from end to end of a lane "
            f"every lead must beep; {beeps}."
        ),
        BuildStep(
            f"Ohms between lanes as in the table. {LOWEST} Where a capacitor hangs, wait until it stands still."
        ),
    )


def first_power_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """The first meeting of board and battery, through the resistor."""
    power = data.power
    if power is None:
        return ()
    adapter, guarded = data.adapter, data.build.guarded
    source, contacts = ("socket", "socket's") if adapter else ("battery", "clip's")
    off, on = ("Plug out", "A bare plug in the jack") if data.build.ring else ("Switch off", "Switch on")
    low, high = ends(power.healthy)
    steps = [
        BuildStep(
            f"Ohms at the {contacts} contacts{', adapter out' if adapter else ''}. {off}: over range. {on}: red on +, "
            f"{ohms(power.clip_on)}; red on −, {ohms(power.clip_on_reversed)}. {clip_words(data)}"
        ),
        _polarity(data, power),
        BuildStep(
            f"A {show(power.series_ohm, 'ohm', 1)} resistor ({power.watt:g} W; {power.watt_needed * 1000:.0f} mW at "
            f"worst) between the {source}'s + contact and the {'' if adapter else contacts + ' '}+ wire, "
            f"{'− straight to −' if adapter else 'only − of the clip on'} (crocodile leads). Meter across it on DC "
            f"volts, {volt_range(data)} V range, red on the {source}. {'Adapter in. ' if adapter else ''}{on}, wait "
            f"{waiting(power.wait_s)}, read:",
        ),
        BuildStep(
            f"{low} to {high}: healthy so far; the supply lane must be + to ground"
            + (", the LED shines." if data.led is not None else ".")
        ),
        BuildStep(reversed_words(data)),
        BuildStep(
            f"Above {high}: a short round the stage, or the wrong part: off. Above {FULL * 100:.0f} % of the "
            f"{'adapter' if adapter else source}'s volts: a dead short: off."
            + ("" if power.full_is_clear else " A healthy board can read as much here: trust the ohms instead.")
        ),
        BuildStep(
            f"Below {low}, 0 V too: {'D1 turned or open, ' if guarded else ''}switch, open joint or wrong legs: off, "
            f"check by ohms; do not turn the {'wires' if adapter else source}."
        ),
    ]
    unseen = unseen_words(data)
    if unseen:
        steps.append(BuildStep(f"This test cannot tell: {unseen}"))
    heat = (
        f"A dead short would draw {power.short.ampere:.1f} A and make {power.short.watt:.0f} W of heat in the battery. "
        if power.short
        else ""
    )
    touch = f"Nothing may get warm: {power.clip_v[1]:.0f} V DC does not shock a dry finger, but a short burns it."
    steps.append(
        BuildStep(
            f"Only then the + wire straight to the socket: ten seconds, a finger on adapter and parts. {touch}",
            "Warm: unplug the adapter from the outlet.",
        )
        if adapter
        else BuildStep(
            f"Only then straight to the battery: ten seconds, a finger on battery and parts. {touch}",
            heat + "Warm: off, unclip. Hot battery: set it down away from people; do not touch a swollen one.",
        )
    )
    return tuple(steps)


def _polarity(data: SheetData, power: FirstPower) -> BuildStep:
    """The supply by itself."""
    end, fresh = power.clip_v
    if data.adapter:
        return BuildStep(
            f"Polarity: the adapter's plug alone on the meter, DC volts, {end:.1f} to {fresh:.1f} V with red on its +; "
            "no minus sign. The socket's + is the contact that meets it.",
            f"It must say DC: AC destroys the board. Never open an adapter or any mains gear. {SOCKET}",
        )
    own = caution_of_battery(data)
    return BuildStep(
        f"Polarity: battery alone on the meter, {end:.1f} to {fresh:.1f} V with red on +; no minus sign. Red wire of "
        "the clip to that contact.",
        SOCKET if own.rpartition(": ")[2] in SHORTED else f"{own} {SOCKET}",
    )


def power_on_steps(data: SheetData) -> tuple[BuildStep, ...]:
    """Volts of every lane, then the tone."""
    meter = data.build.meter
    on = "A bare plug in the jack" if data.build.ring else "Switch on, jack empty"
    steps = [
        BuildStep(
            f"{on}. DC volts ({volt_range(data)} V range) of each lane to ground, as in the lanes' table. Meter of "
            f"{show(meter.input_ohm, 'ohm', 2)}, attached and counted; "
            f"{'adapter within 5 %' if data.adapter else 'spent to fresh battery'}, 1 % resistors, "
            + whose_part(data.chain)
            + ("; * the meter itself lowers this reading." if any(row.loaded for row in data.volts) else ".")
            + f" Others: {'plug and' if data.build.ring else 'off,'} {'adapter' if data.adapter else 'battery'} out; "
            "see “Where is the fault?”",
            "A slip shorts two lanes.",
        )
    ]
    if data.tone_shows:
        steps.append(
            BuildStep(
                f"A tone of {TONE_HZ:.0f} Hz (the page plays one) from a headphone socket, turned to "
                f"{TONE_V_RMS * 1000:.0f} mV by the meter on AC volts: its ground to the ground lane, its tip through "
                f"{show(COUPLING_F, 'F', 2)} to the gate lane. AC volts of each lane as in the table; much more: no "
                "disc there.",
                "Loudspeaker down and headphones off while you probe.",
            )
        )
    return tuple(steps)


def caution_of_battery(data: SheetData) -> str:
    """The caution of the chain's own battery, from the catalogue."""
    return "" if data.adapter else catalogue.batteries()[data.chain.supply].caution
