"""Which part makes a stage thin, and the preferred value of it that would do.

A stage is thin where its lowest string lies more than 1 dB under its own mid-band (our own limit). Each part that can
take bass away is made harmless in turn; the one that gives back the most is to blame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, PICKUP, Assembly
from piezolab.chain.parameters import all_parameters
from piezolab.quantity import preferred_between
from piezolab.studies.judging.bass_and_level import sound, sound_of
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

THIN_DB = 1.0
BLAMED = 0.5  # of what the lowest string lacks; a part that gives back less is not the one
SERIES = {"ohm": "E12", "F": "E6"}
HARMLESS = 1e4  # times its value


@dataclass(frozen=True)
class ThinPart:
    """key, label, unit: of the part to blame, `gate resistor` say; has: its value; does: the least preferred value with
    which the lowest string lies within 1 dB of mid-band, ohm or F, nan where its control's range has none; loss_db,
    then_db: how far the lowest string lies under mid-band now and with that value (positive is lost)."""

    key: str
    label: str
    unit: str
    has: float
    does: float
    loss_db: float
    then_db: float


def thin_part(chain: SignalChain) -> ThinPart | None:
    """The part to blame; None where the stage is not thin, there is none, or no single part of it is to blame."""
    if not chain.topology.powered:
        return None
    note, linear = low_note_hz(chain), LinearChain.of(chain.values)
    loss = -float(sound(chain).balance_db)
    if not (np.isfinite(loss) and loss > THIN_DB):
        return None
    parts = _suspects(linear.assembly, chain)
    left = {key: _loss(chain, note, key, float(chain.values[key]) * HARMLESS) for key in parts}
    key = min(left, key=left.__getitem__, default=None)
    if key is None or not loss - left[key] >= BLAMED * loss:
        return None
    label, unit = parts[key]
    has = float(chain.values[key])
    does, then = _least(chain, note, key, unit, has)
    return ThinPart(key, label, unit, has, does, loss, then)


def _suspects(assembly: Assembly, chain: SignalChain) -> dict[str, tuple[str, str]]:
    """Label and unit by key of what can take bass away in a stage: resistors from the pickup's node, the output
    capacitor, what holds its far side at 0 V, and the capacitors that bridge a resistor to ground."""
    found: dict[str, tuple[str, str]] = {}
    side = assembly.coupling[0].nodes[1] if assembly.coupling else ""
    coupling = {part.name for part in assembly.coupling}
    for part in assembly.where("board"):
        shunts = part.kind == "resistor" and (PICKUP in part.nodes or set(part.nodes) == {side, GROUND})
        bridges = part.kind == "capacitor" and (part.name in coupling or GROUND in part.nodes)
        if (shunts or bridges) and chain.topology.has(part.key) and part.key != "gate_stop":
            found.setdefault(part.key, (part.label, part.unit))
    return found


def _least(chain: SignalChain, note: float, key: str, unit: str, has: float) -> tuple[float, float]:
    """The least preferred value above `has` that does, and what the lowest string loses with it; nan where none."""
    high = all_parameters()[key].high
    if not has < high:
        return np.nan, np.nan
    values = np.array([v for v in preferred_between(has, high, SERIES[unit]) if v > has])
    if not values.size:
        return np.nan, np.nan
    losses = _loss(chain, note, key, values)
    good = np.flatnonzero(losses <= THIN_DB)
    return (float(values[good[0]]), float(losses[good[0]])) if good.size else (np.nan, np.nan)


def _loss(chain: SignalChain, note: float, key: str, value: np.ndarray | float) -> np.ndarray | float:
    lost = -sound_of(chain.values.but(**{key: value}), note).balance_db
    return np.where(np.isnan(lost), np.inf, lost)[()]
