"""Words for hiss and hum: what one will hear first, then the number."""

from __future__ import annotations

import math

import numpy as np

from piezolab.catalogue.advice_texts import advice_texts
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, assemble
from piezolab.pages.kit.sentences import your_note
from piezolab.quantity import show
from piezolab.studies.advice import AdviceStep
from piezolab.studies.hiss import INPUT, Noise
from piezolab.studies.judging.hum_and_hiss import INAUDIBLE_DB, Loudness
from piezolab.studies.matters import Effect

#: How far hum or hiss lies under hard playing, in dB, and what that is like. The limits are ours (common practice, no
#: source): soft playing lies 20 dB under hard, and a quiet room some 60 dB.
HEARD = (
    (10.0, "as loud as the playing itself"),
    (25.0, "loud, under soft playing too"),
    (45.0, "plain to hear whenever you pause"),
    (60.0, "there in the pauses if you listen for it"),
    (80.0, "only with an ear at the loudspeaker"),
    (math.inf, "too quiet to hear"),
)
WAYS = {
    "room": "the room's wiring, through the air",
    "cord": "wiring near the output cable",
    "ripple": "the adapter's ripple",
    "loop": "a ground loop along the cable's screen",
}
CARE = (
    "Volume down, headphones off before you touch plugs or open the box. Never remove or bypass a protective earth; "
    "never open or modify mains-powered gear."
)
WAY_NAMES = {"room": "from the room", "cord": "into the cable", "ripple": "from the adapter", "loop": "from a loop"}
WAY_ON_PLOT = {"room": "room", "cord": "cable", "ripple": "adapter", "loop": "loop"}
ONE_DB = 1.0  # a change that one just notices


def under(level_db: float) -> str:
    """A level against hard playing: 39 dB under your hard playing."""
    if math.isnan(level_db):
        return "not to be compared, since no signal arrives"
    if level_db == -math.inf:
        return "nothing at all"
    return f"{abs(level_db):.0f} dB {'under' if level_db <= 0 else 'above'} your hard playing"


def heard(level_db: float) -> str:
    """Words for a level against hard playing, dB (negative: under it)."""
    return next(words for limit, words in HEARD if -level_db < limit or limit == math.inf)


def verdict(chain: SignalChain, loud: Loudness, noise: Noise) -> str:
    """Hum and hiss in two sentences, the louder one first, with its biggest culprit."""
    hum_db, hiss_db = float(loud.hum_db), float(loud.hiss_db)
    if math.isnan(hiss_db):
        return "No signal arrives, so whatever hum and hiss there is has nothing to hide behind."
    hum_words = "No hum gets in."
    if loud.hum_way:
        drowns = f"; it drowns {your_note(chain)}" if loud.drowns else ""
        hum_words = (
            f"Hum is {under(hum_db)} to the ear: {heard(hum_db)}{drowns}; most comes from {WAYS[str(loud.hum_way)]}."
        )
    maker = next(iter(noise.shares))
    hiss_words = f"Hiss is {abs(hiss_db):.0f} dB {'under' if hiss_db <= 0 else 'above'}: {heard(hiss_db)}"
    hiss_words += f"; most is made by {maker_words(maker)}." if hiss_db > INAUDIBLE_DB else "."
    return f"{hum_words} {hiss_words}" if hum_db >= hiss_db else f"{hiss_words} {hum_words}"


def maker_words(name: str) -> str:
    """A contributor to the hiss in words, without its value."""
    known = {
        INPUT: "the input you plug into",
        "Q1 channel": "the transistor's channel",
        "Q1 gate": "the transistor's gate leakage",
        "R_G": "the gate resistor",
        "R_p": "the pickup's leakage",
        "R_in": "the input's own resistance",
        "R_D": "the drain resistor",
        "R_bleed": "the bleed resistor",
        "R_sup": "the supply resistor",
        "R_stop": "the gate stopper",
        "R_m": "the disc's damping",
        "R_1": "the upper divider resistor",
        "R_2": "the lower divider resistor",
        "R_pad1": "the pad's series resistor",
        "R_pad2": "the pad's shunt resistor",
    }
    if name in known:
        return known[name]
    if name.endswith((" channel", " gate")):
        transistor, what = name.rsplit(" ", 1)
        return f"the {'gate leakage' if what == 'gate' else 'channel'} of transistor {transistor}"
    base, number = name.rstrip("12"), name[-1]
    if name.startswith(("C_p", "C_m")):
        words = "the loss in the pickup's ceramic" + (" as it rings" if base == "C_m" else "")
    elif base == "R_S":
        return "the source resistor" if base == name else f"the source resistor's part {number}"
    elif base in ("R_p", "R_m"):
        words = known[base]
    else:
        return name
    return words if base == name else f"{words}, disc {number}"


def step_words(step: AdviceStep) -> str:
    """What a step brings: the number, and whether it is computed or assumed."""
    low, high = step.less_db
    what = "hiss" if step.against == "hiss" else "hum"
    if step.computed:
        if math.isinf(low):
            return f"{'no ' + what + ' left' if low > 0 else what + ' where there was none'} (computed for this chain)"
        if abs(low) < 0.05:
            return f"no difference to the {what} (computed for this chain)"
        return f"{abs(low):.1f} dB {'less' if low > 0 else 'more'} {what} (computed for this chain)"
    if high < 0.5:
        return f"hardly any difference, since little {what} comes this way (an assumption, not computed)"
    return f"{low:.0f} to {high:.0f} dB less {what} (an assumption, not computed)"


def change_words(more_db: float) -> str:
    """A change of the hiss in a table: 0.5 dB less, 0.1 dB more, the same."""
    if math.isnan(more_db):
        return "no signal"
    if abs(more_db) < 0.05:
        return "the same"
    return f"{abs(more_db):.1f} dB {'more' if more_db > 0 else 'less'}"


def best_step(steps: tuple[AdviceStep, ...], loud: Loudness) -> list[str]:
    """The most helpful step against hum, told below in full; nothing where hum cannot be heard."""
    if not steps or not loud.hum_db > INAUDIBLE_DB:
        return []
    best = steps[0]
    row = advice_texts()[best.name]
    return [f"Try first: {row.title[0].lower()}{row.title[1:]}: {step_words(best)}."]


def touch_test(steps: tuple[AdviceStep, ...], loud: Loudness) -> str:
    """How to find out that the hum comes through the air; nothing where other hum is the louder, or none is heard."""
    if not steps or not loud.hum_db > INAUDIBLE_DB or steps[0].against != "room":
        return ""
    return (
        "A test: touch a grounded part, such as the jack's sleeve. If the hum drops, it came this way. Not where "
        "anything has ever tingled: have a licensed person look at the gear first."
    )


def effect_words(effect: Effect, chain: SignalChain) -> str:
    """Where an imperfection is and what it is."""
    sizes = f"{show(float(effect.size[0]), effect.unit, 1)} to {show(float(effect.size[-1]), effect.unit, 1)}"
    if effect.key == "joint":
        return f"a bad joint at the {lead_words(effect, chain)}, {sizes}"
    gate = "gate" if chain.topology.powered else "disc's hot lead"
    return {
        "leak to ground": f"damp or flux from the {gate} to ground, {sizes}",
        "leak to supply": f"damp or flux from the gate to the supply, {sizes}",
        "stray to ground": f"stray capacitance from the {gate} to ground, {sizes}",
        "stray to drain": f"stray capacitance from the gate to the drain, {sizes}",
        "gate stopper": f"a gate stopper of {sizes}",
        "capacitor resistance": f"an output capacitor with {sizes} inside",
        "drained battery": f"a battery going from {sizes}",
        "cable quality": f"cable of {sizes}",
    }[effect.key]


def lead_words(effect: Effect, chain: SignalChain) -> str:
    """One lead of one part: the transistor's gate, the gate resistor's end towards ground."""
    part = next(p for p in assemble(chain.values).parts if p.name == effect.part)
    if part.kind == "jfet":
        return f"transistor's {('drain', 'gate', 'source')[effect.lead]}"
    node = part.nodes[effect.lead]
    if part.kind == "battery":
        return f"{part.label}'s {'−' if node == GROUND else '+'} lead"
    if part.name.startswith("C_p"):  # a disc has a hot lead and a ground lead
        return f"disc's {'ground' if node == GROUND else 'hot'} lead"
    return f"{part.label}'s {node} end"


def effect_result(effect: Effect) -> str:
    """What it changes at worst, and from which size on one hears it."""
    if effect.worst_db < 0.05:
        return "no difference"
    first = effect.first_audible(ONE_DB)
    if math.isnan(first):
        return f"{effect.worst_db:.1f} dB at worst: not to be heard"
    worst = f"{effect.worst_db:.0f} dB at worst"
    if first in (effect.size[0], effect.size[-1]):
        return f"{worst}; to be heard at {show(first, effect.unit, 1)}"
    way = "down" if np.argmax(np.abs(effect.level_db)) < len(effect.size) / 2 else "up"
    return f"{worst}; to be heard from {show(first, effect.unit, 1)} {way}"
