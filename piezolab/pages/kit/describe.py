"""What a control shows, made from the table of parameters: what never changes, and what follows the chain."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.joined import Several, Words
from piezolab.chain.parameter import Choice, Parameter, Picked, Quantity
from piezolab.chain.parameters import GROUPS, TRANSISTOR, all_parameters
from piezolab.chain.stages import controls as stage_controls
from piezolab.pages.kit.slider_stops import nearest_step, steps

_UNIT_SYMBOLS = {"ohm": "Ω", "V/rtHz": "V/√Hz", "degC": "°C", "1/V": "/V"}

#: Where a several-part value begins when it is put in.
STARTS = {"pad": (10e3, 10e3), "resonance": (4e3, 20.0, 0.3)}

#: What stands beside a value that was not entered, by where it comes from.
_SOURCES = {
    "the type": ("typical, not yours", "back to typical"),
    "the kind": ("typical of this kind, not yours", "back to typical"),
    "the battery": ("as the battery is marked", "back to the battery's"),
}
#: What is to be minded where a value is entered.
_CARE = {"mains_v": "never measure it"}
#: What is added to a control's explanation, behind its question mark.
_FROM_MEMORY = "Some figures of this one are from memory, not from a sheet."


def keys_of(*groups: str, without: Iterable[str] = ()) -> tuple[str, ...]:
    """Keys of the parameters of these groups, in signal order."""
    left_out = set(without)
    return tuple(
        key for key, parameter in all_parameters().items() if parameter.group in groups and key not in left_out
    )


def title_of(group: str) -> str:
    """A group's name in a heading."""
    return GROUPS[group]


def applies(key: str, chain: SignalChain) -> bool:
    """Whether a control means anything for this chain."""
    topology = chain.topology
    if key in {control.key for control in stage_controls()} and key not in {c.key for c in topology.controls}:
        return False
    if not topology.powered and (all_parameters()[key].group == "supply" or key in {t.key for t in TRANSISTOR}):
        return False
    match key:
        case "return_part":
            return chain["return"] != "ground"
        case "divider_r" | "divider_c":
            return chain["return"] == "divider"
        case "bypass_part":
            return chain.bypass_c > 0
        case "clamp":
            return topology.powered
        case "clamp_part":
            return topology.powered and chain.clamp != "none"
        case "jfet_vds":
            return chain.jfet_idss is not None
        case "ripple_v":
            return chain.supply == "adapter"
        case "input_r" | "input_c" | "input_max" | "input_noise":
            return len(chain.input) == 1
    return True


def unit_symbol(unit: str) -> str:
    """A unit as it stands behind a field."""
    return _UNIT_SYMBOLS.get(unit, unit)


def item(parameter: Parameter) -> dict[str, Any]:
    """What never changes about a control."""
    about: dict[str, Any] = {"key": parameter.key, "label": parameter.label, "hint": parameter.hint}
    match parameter:
        case Picked():
            options = [[parameter.write(pick), f"{pick:g} {parameter.unit}".strip()] for pick in parameter.picks]
            return {**about, "kind": "choice", "options": options}
        case Quantity():
            return {**about, "kind": "quantity", **_scale(parameter)}
        case Several():
            parts = [{"label": part.label, **_scale(part)} for part in parameter.parts]
            start = parameter.write(STARTS[parameter.key])
            return {**about, "kind": "several", "parts": parts, "start": start}
        case Words():
            return {**about, "kind": "words", "options": [list(pair) for pair in parameter.choices.items()]}
        case Choice():
            return {**about, "kind": "choice", "options": [[word, parameter.show(word)] for word in _listed(parameter)]}
    return {**about, "kind": "text"}


def _scale(parameter: Quantity) -> dict[str, Any]:
    return {
        "unit": unit_symbol(parameter.unit),
        "steps": [parameter.write(value) for value in steps(parameter)],
    }


def standing(parameter: Parameter, chain: SignalChain) -> dict[str, Any]:
    """What a control shows for this chain: text, slider position, what stands beside it, whether it applies."""
    key = parameter.key
    entered = key in chain.entered
    value = chain[key] if entered or chain[key] is not None else chain.values[key]
    # A typical figure has come out of a calculation and means no more than its first digits.
    text = parameter.write(value) if entered else parameter.write(_rounded(parameter, value))
    state: dict[str, Any] = {"applies": applies(key, chain), "text": text}
    if isinstance(parameter, Quantity) and not isinstance(parameter, Picked):
        state["at"] = nearest_step(parameter, value)
    elif isinstance(parameter, Several):
        state["at"] = [nearest_step(*pair) for pair in zip(parameter.parts, value or (), strict=False)]
    elif isinstance(parameter, Choice) and value not in _listed(parameter):
        state["shown"] = parameter.show(value)
    note, back = _SOURCES.get(parameter.optional_from, ("", ""))
    state["note"] = _CARE.get(key, "" if entered else note)
    state["back"] = back if entered else ""
    state["aside"] = _FROM_MEMORY if _from_memory(key, value) else ""
    return state


def _rounded(parameter: Parameter, value: Any) -> Any:
    return float(f"{value:.3g}") if isinstance(parameter, Quantity) else value


_ROWS = {"jfet": catalogue.transistors, "input": catalogue.inputs, "supply": catalogue.batteries}


def _listed(parameter: Choice) -> tuple[str, ...]:
    """What a control lists: a row that another corrects is understood in a link and not chosen anew."""
    rows = _ROWS[parameter.key]() if parameter.key in _ROWS else {}
    return *catalogue.offered(rows), *(word for word in parameter.choices if word not in rows)


def _from_memory(key: str, value: Any) -> bool:
    rows = _ROWS.get(key)
    if rows is None:
        return False
    names = value if isinstance(value, tuple) else (value,)
    return any(name in rows() and rows()[name].from_memory for name in names)
