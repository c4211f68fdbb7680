"""Whether a stage is worth it: this cable and input with the stage, against the bare pickup into the same.

Worth it is what brings at least 1 dB of the lowest string or of all notes, or 3 dB of hiss or of hum along the cable,
with nothing else worse by more than that: counted in steps of these limits, a loss of level may be outweighed by as
much of the lowest string, more hiss or hum by the lowest string or by level, clipping by what the lowest string wins
over the other notes. A loss of the lowest string is outweighed by nothing, and a stage that does not work at rest is
worth nothing. Hiss and hum count only where the louder of the two chains can be heard. All of this is our own (about 1
dB is the least that one notices; common practice, no source), and the pages that show it say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.chain.values import Values
from piezolab.studies.bias import bias
from piezolab.studies.judging.bass_and_level import sound, sound_of
from piezolab.studies.judging.hum_and_hiss import INAUDIBLE_DB, loudness, loudness_of
from piezolab.studies.levels import levels, levels_of, load_voltage
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz
from piezolab.studies.swing import swing

LEVEL_DB = 1.0  # of the lowest string, of all notes, of room for hard playing
QUIET_DB = 3.0  # of hiss, of hum along the cable
FOR = ("bass", "level", "hiss", "cable")
_OUTWEIGH = {
    "bass": (), "level": ("bass",), "hiss": ("bass", "level"), "cable": ("bass", "level"), "room": ("balance",),
}  # fmt: skip


@dataclass(frozen=True)
class Worth:
    """What a stage brings against the bare pickup, dB; negative is a cost.

    bass_db: the lowest string, net; level_db: all notes (mid-band); hiss_db, cable_db: how much less hiss, and hum
    along cable, screen and supply, against the playing; room_db: how much less of hard playing clips, never above what
    the bare pickup clips; hiss_heard, cable_heard: whether the louder of the two can be heard; works: at rest; silent:
    no signal passes either way.
    """

    bass_db: float
    level_db: float
    hiss_db: float
    cable_db: float
    room_db: float
    hiss_heard: bool
    cable_heard: bool
    works: bool
    silent: bool

    @property
    def _steps(self) -> dict[str, float]:
        """Each figure in steps of its own limit; what is not heard does not count."""
        return {
            "bass": self.bass_db / LEVEL_DB,
            "level": self.level_db / LEVEL_DB,
            "hiss": self.hiss_db / QUIET_DB if self.hiss_heard else 0.0,
            "cable": self.cable_db / QUIET_DB if self.cable_heard else 0.0,
        }

    @property
    def gains(self) -> tuple[str, ...]:
        """What it is worth having for (of `FOR`), the largest first; none where it does not work."""
        if self.silent or not self.works:
            return ()
        return tuple(name for name, size in sorted(self._steps.items(), key=lambda item: -item[1]) if size >= 1)

    @property
    def costs(self) -> tuple[str, ...]:
        """What it makes worse (of `FOR`, and `room`), the worst first."""
        if self.silent:
            return ()
        steps = self._steps | {"room": self.room_db / LEVEL_DB}
        return tuple(name for name, size in sorted(steps.items(), key=lambda item: item[1]) if size <= -1)

    @property
    def worth_it(self) -> bool:
        """Whether it brings something and makes nothing else worse by more."""
        steps = self._steps | {"room": self.room_db / LEVEL_DB}
        steps["balance"] = steps["bass"] - max(steps["level"], 0.0)
        outweighed = (any(steps[gain] >= -steps[cost] for gain in _OUTWEIGH[cost]) for cost in self.costs)
        return bool(self.gains) and all(outweighed)


def worth(chain: SignalChain) -> Worth:
    """Of the chain's stage, or of a follower where it has none."""
    staged = with_a_stage(chain)
    return _worths(staged, {})[0]


def without_second(chain: SignalChain) -> SignalChain | None:
    """The chain with its second transistor left out and the first at the same current; None where it has none."""
    plain = chain.topology.plain
    if not plain:
        return None
    other = chain.but(**plain)
    q = bias(chain)
    if other.topology.rest_key == chain.topology.rest_key or not q.works:
        return other
    rest = all_parameters()[other.topology.rest_key]
    return other.but({rest.key: min(max(float(q.v_s / q.i_d), rest.low), rest.high)})


def second_worth(chain: SignalChain) -> Worth | None:
    """What the second transistor brings against the same stage without it; None where there is none."""
    plain = without_second(chain)
    return None if plain is None else _worths(chain, {}, plain)[0]


def worth_by_input(chain: SignalChain) -> dict[str, Worth]:
    """The same on every kind of input of the catalogue, in the catalogue's order."""
    kinds = catalogue.inputs()
    fields = {"input_r": "r", "input_c": "c", "input_max": "max_v_peak", "input_noise": "noise"}
    loads = {key: np.array([getattr(kind, name) for kind in kinds.values()]) for key, name in fields.items()}
    return dict(zip(kinds, _worths(with_a_stage(chain), loads), strict=True))


def with_a_stage(chain: SignalChain) -> SignalChain:
    """The chain, with a follower where it has no stage."""
    return chain if chain.topology.powered else chain.but(stage="follower")


def _worths(staged: SignalChain, loads: dict[str, Any], against: SignalChain | None = None) -> list[Worth]:
    note = low_note_hz(staged)
    sides = []
    for chain in (staged, against or staged.but(stage="direct")):
        values: Values = chain.values.but(**loads)
        linear = LinearChain.of(values)
        if loads:
            heard = sound_of(values, note, linear), loudness_of(values, note, linear)
        else:
            heard = sound(chain), loudness(chain)
        sides.append((*heard, _clipped(values, linear, None if loads else chain)))
        if chain is staged:
            works = linear.works
    shape = np.shape(next(iter(loads.values()), 0.0))
    (staged_sound, quiet, clipped), (bare, bare_quiet, bare_clipped) = sides
    with np.errstate(invalid="ignore"):
        found = (
            _more(staged_sound.low_note_db, bare.low_note_db),
            _more(staged_sound.full_db, bare.full_db),
            _less(quiet.hiss_db, bare_quiet.hiss_db),
            _less(quiet.cable_db, bare_quiet.cable_db),
            np.minimum(bare_clipped - clipped, bare_clipped),
            np.fmax(quiet.hiss_db, bare_quiet.hiss_db) >= INAUDIBLE_DB,
            np.fmax(quiet.cable_db, bare_quiet.cable_db) >= INAUDIBLE_DB,
            works,
            staged_sound.silent & bare.silent,
        )
    rows = zip(*(np.ravel(np.broadcast_to(each, shape)) for each in found), strict=True)
    return [Worth(*map(float, row[:5]), *map(bool, row[5:])) for row in rows]


def _more(now: np.ndarray, before: np.ndarray) -> np.ndarray:
    """One level over another; nothing against nothing is no difference."""
    return np.where(now == before, 0.0, now - before)


def _less(now: np.ndarray, before: np.ndarray) -> np.ndarray:
    """How much less noise; nothing against nothing is no difference, nor is a comparison without a signal."""
    return np.nan_to_num(_more(before, now), nan=0.0, posinf=np.inf, neginf=-np.inf)


def _clipped(values: Values, linear: LinearChain, chain: SignalChain | None) -> np.ndarray:
    """How far hard playing is beyond the nearest clip edge, dB; 0 where it is not. chain: that the values are of."""
    play = np.asarray(values.play_v, float)
    if linear.transistor is not None and np.all(swing(linear).headroom >= play):
        loud = np.abs(load_voltage(linear, np.multiply.outer(play, [1.0, -1.0])))
        if np.all(loud < np.asarray(values.input_max, float)[..., None]):
            return np.zeros(loud.shape[:-1])  # nothing clips: where it would begin need not be looked for
    whole = levels_of(values) if chain is None else levels(chain)
    return np.maximum(-whole.input_headroom_db, 0.0)
