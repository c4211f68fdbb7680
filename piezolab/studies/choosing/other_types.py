"""Which other transistor types fit a chain as it is: the whole wish, with the parts that their makers ship.

A type fits where at least 95 of 100 of its parts meet every limit of the wish from a fresh battery to a spent one, and
its ratings hold. Common types come first, then the room to spare that 95 of 100 parts have.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.resolve import TRANSISTOR_KEYS, with_types
from piezolab.chain.values import Values
from piezolab.studies.choosing.build_figures import build_figures
from piezolab.studies.judging.wish import BuildFigures, Wish, margins, standing
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.metering.board_under_meter import clip_range
from piezolab.studies.population import population
from piezolab.studies.response import AUDIO, low_note_hz, search_grid

FITS = 0.95  # of a type's parts must meet every limit
BEST = 5
_PARTS = 100
_IN_FULL = 8  # types whose figures are worked out along the load line
_AVAILABILITY = ("common", "scarce", "hard to find")


@dataclass(frozen=True)
class FittingType:
    """One type, by its number; the chain's own by the chain's name for it.

    share: of its parts that meet the wish; headroom_db, gain_db: at least, current_a: at most, with 95 of 100 of them;
    availability: as in the catalogue; missed: the wish that the fewest parts meet, "" where all do.
    """

    name: str
    share: float
    headroom_db: float
    gain_db: float
    current_a: float
    availability: str
    missed: str


@dataclass(frozen=True)
class OtherTypes:
    """own: how the chain's own type does, None where its ratings do not hold; fitting: the best others that fit;
    nearest: where none does, the one that comes nearest."""

    own: FittingType | None
    fitting: tuple[FittingType, ...]
    nearest: FittingType | None


@kept(2)
def other_types(chain: SignalChain, wish: Wish | None = None) -> OtherTypes:
    """What fits this chain in its transistor's place; nothing with no stage."""
    fresh = clip_range(chain)[1]
    rows = catalogue.transistors()
    own, now = rows[chain.jfet].type_number, catalogue.offered(rows)
    kinds = {name: kind for name, kind in rows.items() if name == chain.jfet or name in now and kind.type_number != own}
    names = [name for name, kind in kinds.items() if kind.vds_max >= fresh and kind.vgs_max >= fresh]
    if not chain.topology.powered or not names:
        return OtherTypes(None, (), None)
    wish, note = wish or Wish(), low_note_hz(chain)
    noise = wish.snr_db_a is not None
    quick = _each(names, build_figures(_parts_of(chain, names), note, with_noise=noise), wish)
    likely = list(quick)[:_IN_FULL]
    if chain.jfet in names and chain.jfet not in likely:
        likely.append(chain.jfet)
    audio = search_grid(chain.values)
    audio = audio[(audio >= AUDIO[0]) & (audio <= AUDIO[1])]
    peak = float(audio[np.argmax(np.abs(LinearChain.of(chain.values).gain(audio)))])  # hardly the transistor's affair
    found = _each(likely, build_figures(_parts_of(chain, likely), note, with_noise=noise, peak_hz=peak), wish)
    others = [replace(each, name=kinds[name].type_number) for name, each in found.items() if name != chain.jfet]
    fitting = tuple(each for each in others if each.share >= FITS)[:BEST]
    nearest = max(others, key=lambda each: each.share, default=None) if not fitting else None
    return OtherTypes(found.get(chain.jfet), fitting, nearest)


def _parts_of(chain: SignalChain, names: Sequence[str]) -> Values:
    """The chain with each type's parts in turn, (types * parts,)."""
    drawn, typical = [population(name, _PARTS) for name in names], with_types(chain.values, names)
    wide = {key: np.repeat(typical[key], _PARTS) for key in TRANSISTOR_KEYS}
    wide["jfet_idss"] = np.concatenate([each.idss for each in drawn])
    wide["jfet_vgsoff"] = np.concatenate([each.vgsoff for each in drawn])
    return chain.values.but(**wide)


def _each(names: Sequence[str], figures: BuildFigures, wish: Wish) -> dict[str, FittingType]:
    """The types by name, the best first."""
    margin = {name: np.reshape(value, (len(names), _PARTS)) for name, value in margins(figures, wish).items()}
    rows = {name: np.reshape(value, (len(names), _PARTS)) for name, value in vars(figures).items()}
    good = np.all([value >= 0 for value in margin.values()], axis=0) if margin else np.ones((len(names), _PARTS), bool)
    shares = good.mean(axis=-1)

    def least(value: np.ndarray) -> np.ndarray:
        """What 95 of 100 parts have at least."""
        return np.sort(np.where(np.isnan(value), -np.inf, value), axis=-1)[:, round((1 - FITS) * _PARTS)]

    spare = standing({name: least(value) for name, value in margin.items()}, (len(names),))[2]
    kinds = catalogue.transistors()
    rank = [_AVAILABILITY.index(kinds[name].availability) for name in names]
    order = np.lexsort((spare, rank, np.where(shares >= FITS, 0.0, 1 - shares)))
    met = {name: np.mean(value >= 0, axis=-1) for name, value in margin.items()}
    room, gain, current = least(rows["headroom_db"]), least(rows["gain_db"]), -least(-rows["current_a"])
    found = {}
    for k in order:
        worst = min(met, key=lambda name: met[name][k], default="")
        missed = worst if worst and met[worst][k] < 1 else ""
        found[names[k]] = FittingType(
            names[k], float(shares[k]), float(room[k]), float(gain[k]), float(current[k]),
            kinds[names[k]].availability, missed,
        )  # fmt: skip
    return found
