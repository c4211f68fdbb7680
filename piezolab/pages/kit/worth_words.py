"""Words for what a stage is worth, and for the part that makes it thin: the same on every page."""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.chain.stages import stage_named
from piezolab.quantity import letter_code
from piezolab.sheets.what_and_why import brought
from piezolab.studies.judging.thin import ThinPart
from piezolab.studies.judging.worth import LEVEL_DB, QUIET_DB, Worth

#: What is counted, and that it is ours: shown wherever many stages are sorted by it.
RULE = (
    f"Worth it: at least {LEVEL_DB:.0f} dB more of the lowest string or of all notes, or {QUIET_DB:.0f} dB less of a "
    "hiss or of a hum along the cable that can be heard, and nothing else made worse by more. Less of the lowest "
    "string is never made good. These limits are our own."
)


def worth_sentence(chain: SignalChain, worth: Worth) -> str:
    """Whether a stage is worth it on this cable and input, for what, and at what cost."""
    if worth.silent:
        return "No signal passes, so there is nothing that a stage could save."
    title = chain.topology.title if chain.topology.powered else "source follower"
    if not worth.works:
        return f"The {title} does not work yet, and so it is worth nothing."
    gains, costs = brought(chain, worth, worth.gains), brought(chain, worth, worth.costs)
    against = f"against the bare pickup a {title}"
    if worth.worth_it:
        cost = f". The cost: {costs}" if costs else ""
        return f"A stage is worth it here: {against} brings {gains}{cost}."
    if gains:
        return f"A stage like this is not worth it here: {against} brings {gains}, but at the cost of {costs}."
    if costs:
        return f"A stage like this is not worth it here: {against} brings nothing and costs {costs}."
    return (
        f"For the sound alone a stage makes no difference here: {against} changes no note by {LEVEL_DB:.0f} dB. A "
        "longer cable or another input may still ask for one."
    )


def second_sentence(chain: SignalChain, found: Worth) -> str:
    """Whether the second transistor is worth its solder, against the same stage without it."""
    plain = stage_named(chain.topology.plain["stage"]).title
    against = f"against a plain {plain} at the same current the second transistor"
    gains, costs = brought(chain, found, found.gains), brought(chain, found, found.costs)
    cost = f", at the cost of {costs}" if costs else ""
    if not found.works:
        return "The second transistor brings nothing as long as the stage does not work."
    if found.worth_it:
        return f"The second transistor is worth its solder here: {against} brings {gains}{cost}."
    if gains:
        return f"The second transistor is not worth its solder here: {against} brings {gains}{cost}."
    return f"The second transistor is not worth its solder here: {against} brings nothing that counts{cost}."


def second_brings(chain: SignalChain, found: Worth) -> str:
    """What a second transistor that is worth its solder brings, for a table."""
    cost = f", at the cost of {brought(chain, found, found.costs)}" if found.costs else ""
    return f"Its second transistor brings {brought(chain, found, found.gains)}{cost}"


def thin_sentences(thin: ThinPart | None) -> list[str]:
    """Which part makes a stage thin, and the value that would do; nothing where it is not thin."""
    if thin is None:
        return []
    has = f"the {thin.label} of {letter_code(thin.has, thin.unit)}"
    if math.isnan(thin.does):
        return [f"What takes the most bass is {has}; no value of it alone would bring it back."]
    return [f"What makes it thin is {has}: {letter_code(thin.does, thin.unit)} would do."]


def put_label(thin: ThinPart) -> str:
    """The label of the button that puts the value in."""
    return f"put in: {thin.label} {letter_code(thin.does, thin.unit)}"
