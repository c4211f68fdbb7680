"""What protects the gate from a knock on the disc, and costs the sound next to nothing.

Each clamp of the catalogue, with and without a stopper before it, is put into the chain and held against bars; the
first that meets all is enough. Where none does, the bars that the best of them misses say what stands in the way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.giving_way import give_way
from piezolab.studies.added_harmonics import distortion
from piezolab.studies.bias import bias
from piezolab.studies.hiss import noise
from piezolab.studies.kept import kept
from piezolab.studies.knock import KNOCK_V
from piezolab.studies.levels import levels
from piezolab.studies.linear import LinearChain
from piezolab.studies.quick_knock import quick_knock
from piezolab.studies.response import low_note_hz

EDGE_OVER_PLAY = 1.25  # the clip edge stays at least so far above hard playing, or where it was
ADDED = 0.001  # more harmonics at hard playing, as a part of the note
LOW_NOTE_DB, WARM_LOW_NOTE_DB = 0.1, 0.5  # the lowest string loses less, at the chain's own temperature and at WARM_C
WARM_C = 40.0
HISS_DB = 0.5
STOPPERS = (1e3, 220.0, 0.0)  # ohm; the first of them in which the hiss does not mind
MID_SUPPLY = 0.25  # a gate that rests above this part of the supply may go to rails
BARS = ("voltage", "current", "edge", "added", "bass", "warm bass", "hiss")


@dataclass(frozen=True)
class Tried:
    """One protection. changes: of the chain; misses: the bars that it misses, of `BARS`; gate_source_v, gate_drain_v:
    furthest under source and drain in a knock, V, nan where other bars are missed; low_note_db, warm_low_note_db,
    hiss_db: what it costs, dB."""

    changes: Mapping[str, Any]
    misses: tuple[str, ...]
    gate_source_v: float
    gate_drain_v: float
    low_note_db: float
    warm_low_note_db: float
    hiss_db: float


@dataclass(frozen=True)
class Protection:
    """needed: whether a knock exceeds a voltage rating of the chain as it is; enough: what meets every bar, None where
    nothing does; best: what misses fewest; present: whether the chain has a clamp already."""

    needed: bool
    enough: Tried | None
    best: Tried | None
    present: bool


@kept(2)
def protection(chain: SignalChain, peak_v: float = KNOCK_V) -> Protection | None:
    """What protects a chain against a knock of that open-circuit peak, V; None with no stage, or with one that does not
    work at rest. Raises CircuitError."""
    at_rest = bias(chain)
    if at_rest is None or not bool(at_rest.works):
        return None
    before = quick_knock(chain, peak_v)
    present = chain.clamp != "none"
    if not before.over_voltage or present:
        return Protection(before.over_voltage, None, None, present)
    best = None
    for changes in _candidates(chain, float(at_rest.v_g)):
        give_way()
        tried = _tried(chain, changes, peak_v)
        if best is None or len(tried.misses) < len(best.misses):
            best = tried
        if not tried.misses:
            break
    enough = best if best is not None and not best.misses else None
    return Protection(True, enough, best, False)


def _candidates(chain: SignalChain, gate_v: float) -> Iterator[dict[str, Any]]:
    """Rails first for a gate between them, pairs for one near ground; an own stopper stays."""
    rows = catalogue.offered(catalogue.clamps())
    ways = [("pair", name) for name in rows]
    if gate_v > MID_SUPPLY * chain.supply_v:
        ways = [("rails", name) for name, row in rows.items() if row.way == "forward"] + ways
    for clamp, part in ways:
        changes = {"clamp": clamp, "clamp_part": part}
        if chain.topology.has("gate_stop") and chain.gate_stop == 0:
            changes["gate_stop"] = _stopper(chain.but(changes))
        yield changes


def _stopper(chain: SignalChain) -> float:
    """The largest stopper that costs no more than half of what the hiss may cost."""
    return next(
        ohm for ohm in STOPPERS if ohm == 0 or _louder_hiss(chain.but(gate_stop=ohm), chain) < HISS_DB / 2
    )


def _tried(chain: SignalChain, changes: Mapping[str, Any], peak_v: float) -> Tried:
    """One protection held against the bars: what is soon known first, the knock only where all of that is met."""
    after = chain.but(changes)
    low_db, warm_db = _bass_lost(chain, after)
    hiss_db = _louder_hiss(after, chain)
    misses = []
    edge_before, edge = (float(levels(each).clip_input_v_peak) for each in (chain, after))
    if edge < min(EDGE_OVER_PLAY * chain.play_v, (1 - 1e-3) * edge_before):
        misses.append("edge")
    if _more_harmonics(chain, after) >= ADDED:
        misses.append("added")
    misses += [name for name, lost, most in (("bass", low_db, LOW_NOTE_DB), ("warm bass", warm_db, WARM_LOW_NOTE_DB),
                                             ("hiss", hiss_db, HISS_DB)) if lost >= most]  # fmt: skip
    if misses:
        nothing = float("nan")
        return Tried(changes, tuple(misses), nothing, nothing, low_db, warm_db, hiss_db)
    found = quick_knock(after, peak_v)
    if found.over_voltage:
        misses.append("voltage")
    if found.over_clamp:
        misses.append("current")
    return Tried(
        changes, tuple(misses), found.gate_source_v, found.gate_drain_v, low_db, warm_db, hiss_db,
    )  # fmt: skip


def _bass_lost(before: SignalChain, after: SignalChain) -> tuple[float, float]:
    """What the lowest string loses, dB, at the chain's temperature and at WARM_C."""
    hertz = low_note_hz(before)

    def gain(values: Values) -> float:
        return float(np.abs(LinearChain.of(values).gain(np.array([hertz]))[0]))

    pairs = [(gain(each.values), gain(each.values.but(temp_c=max(WARM_C, each.temp_c)))) for each in (before, after)]
    return tuple(_lost(was, now) for was, now in zip(*pairs, strict=True))


def _lost(was: float, now: float) -> float:
    """dB; nothing is lost where nothing was there."""
    if not was > 0:
        return 0.0
    return float(20 * np.log10(was / now)) if now > 0 else float("inf")


def _louder_hiss(after: SignalChain, before: SignalChain) -> float:
    """How much the A-weighted hiss comes nearer to the signal, dB."""
    was, now = (float(noise(each).snr_db_a) for each in (before, after))
    return was - now if np.isfinite(was) else 0.0  # where no signal is, hiss hides none


def _more_harmonics(before: SignalChain, after: SignalChain) -> float:
    """Added harmonics at hard playing, more than before, as a part of the note."""
    was, now = (float(distortion(each).added[-1]) for each in (before, after))
    return now - was
