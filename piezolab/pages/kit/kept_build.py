"""A build's options as browsers keep them, those that older pages wrote under other names among them."""

from __future__ import annotations

from collections.abc import Mapping

from piezolab.studies.board_as_built import BoardAsBuilt, read_build
from piezolab.studies.build_options import NO_DIODE, SCHOTTKY

#: Name in the store of an older page -> today's key.
_RENAMED = {"meter_r": "meter_ohm", "percent": "accuracy", "beeps": "beeps_below"}
#: Likewise for the meter that the fault finder kept with its readings.
_OF_FAULT = {"input_ohm": "meter_ohm", "ohm_max": "ohm_max", "ac": "ac", "counts": "counts", "tone_v": "tone_v"}
_PREFIX = "meter "


def kept_build(texts: Mapping[str, str]) -> BoardAsBuilt:
    """The build that was kept. Raises ValueError with the sentence of every option that cannot be used."""
    build, problems = read_build(_todays(texts))
    if problems:
        raise ValueError(" ".join(problems.values()))
    return build


def meter_in_fault(texts: Mapping[str, str]) -> dict[str, str]:
    """Texts by today's keys of the meter that an older fault finder kept; none from one of today."""
    return {key: texts[_PREFIX + name] for name, key in _OF_FAULT.items() if _PREFIX + name in texts}


def _todays(texts: Mapping[str, str]) -> dict[str, str]:
    found = {_RENAMED.get(name, name): text for name, text in texts.items()}
    if (diode := found.pop("schottky", None)) is not None:
        found["diode"] = {"yes": SCHOTTKY, "no": NO_DIODE}.get(diode, diode)
    if "width" in found or "height" in found:
        sides = found.pop("width", ""), found.pop("height", "")
        found["board"] = "x".join(sides) if any(sides) else ""
    return found
