"""What to try against hum and hiss on this chain, ranked by what it brings.

A step that changes the chain is applied and the figure computed again; one that the chain does not describe has
an assumed range. Either way the number is how much hum, or hiss, falls against the signal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.catalogue.advice_texts import advice_texts
from piezolab.chain import SignalChain
from piezolab.studies.hiss import noise, quieter_transistors
from piezolab.studies.hum import WAYS, Hum, hum
from piezolab.studies.kept import kept
from piezolab.studies.levels import levels

FILTER_OHM, FILTER_F = 1e3, 220e-6
BRIDGE_F = 100e-6
THE_SHIELD = "foil"  # the step that `shield_db` stands for


@dataclass(frozen=True)
class AdviceStep:
    """One step. name: row of the advice texts; less_db: fall of the whole hum (or hiss) over signal, dB, lower
    and upper end
    (equal where computed); computed: whether it is; changes: what it changes in the chain (empty where assumed)."""

    name: str
    against: str
    less_db: tuple[float, float]
    computed: bool
    changes: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Advice:
    """Steps, the most helpful first, and the culprits: share of the power by way in (hum) or contributor (hiss)."""

    steps: tuple[AdviceStep, ...]
    culprits: Mapping[str, float]


@kept(4)
def hum_advice(chain: SignalChain) -> Advice:
    """Steps against hum. The culprits are the ways in of `hum`. Without a signal there are no steps."""
    now = hum(chain)
    power = {way: now.way_v_rms(way) ** 2 for way in WAYS}
    whole = sum(power.values())
    culprits = {way: p / whole if whole > 0 else 0.0 for way, p in power.items()}
    culprits = dict(sorted(culprits.items(), key=lambda item: -item[1]))
    if not now.signal_v_rms > 0:
        return Advice((), culprits)
    steps = []
    for name, changes in _hum_changes(chain).items():
        steps.append(_computed(name, now.relative_db - hum(chain.but(changes)).relative_db, changes))
    for name, row in advice_texts().items():
        if name == THE_SHIELD and chain.shield_db > 0:
            continue  # it is there already
        if row.range_db is not None and culprits.get(row.against, 0.0) > 0:
            ends = tuple(_less(now, row.against, db) for db in row.range_db)
            steps.append(AdviceStep(name, row.against, ends, False))
    return Advice(_ranked(steps), culprits)


def _hum_changes(chain: SignalChain) -> dict[str, dict[str, Any]]:
    if not chain.topology.powered:
        return {"stage-at-the-instrument": {"stage": "follower"}} if chain.cable_hum_c > 0 else {}
    if chain.supply != "adapter":
        return {}
    changes: dict[str, dict[str, Any]] = {
        "battery": {"supply": None, "supply_v": chain.supply_v},
        "filter-supply": {"supply_r": FILTER_OHM, "supply_c": FILTER_F},
    }
    if chain.topology.has("divider_c") and chain["return"] == "divider" and chain.divider_c == 0:
        changes["bypass-divider"] = {"divider_c": 10e-6}
    return changes


def _less(now: Hum, way: str, db: float) -> float:
    """Fall of the whole hum when one way in falls by db."""
    rest = now.output_v_rms**2 - now.way_v_rms(way) ** 2 * (1 - 10 ** (-db / 10))
    return float(10 * np.log10(now.output_v_rms**2 / max(rest, 1e-300)))


@kept(4)
def hiss_advice(chain: SignalChain) -> Advice:
    """Steps against hiss. The culprits are the contributors of the noise study. Without a signal there are no steps."""
    now = noise(chain)
    before, culprits = float(now.snr_db_a), {name: float(share) for name, share in now.shares.items()}
    if not np.isfinite(before):
        return Advice((), culprits)
    steps = []
    for name, changes in _hiss_changes(chain).items():
        steps.append(_computed(name, float(noise(chain.but(changes)).snr_db_a) - before, changes))
    return Advice(_ranked(steps), culprits)


def _hiss_changes(chain: SignalChain) -> dict[str, dict[str, Any]]:
    changes: dict[str, dict[str, Any]] = {}
    kinds, loud = catalogue.inputs(), float(levels(chain).output_v_peak)
    fit = [kind for kind, row in kinds.items() if row.max_v_peak >= loud] or list(kinds)
    quietest = min(fit, key=lambda kind: kinds[kind].noise)
    if chain.input != (quietest,):
        entered = {key: None for key in ("input_r", "input_c", "input_max", "input_noise")}
        changes["quieter-input"] = {"input": (quietest,), **entered}
    return {**changes, **_stage_changes(chain)} if chain.topology.powered else changes


def _stage_changes(chain: SignalChain) -> dict[str, dict[str, Any]]:
    """What would quieten the stage itself."""
    changes: dict[str, dict[str, Any]] = {}
    stage = chain.topology
    if stage.has("gate_r") and chain.gate_r <= 100e6:
        changes["larger-gate-resistor"] = {"gate_r": 10 * chain.gate_r}
    types = catalogue.transistors()
    for other in quieter_transistors(chain):
        kind = types[other.change]
        if kind.mounting == "leaded" and kind.availability != "hard to find" and other.change != chain.jfet:
            clear = {key: None for key in chain.entered if key.startswith("jfet_")}
            changes["quieter-transistor"] = {**clear, "jfet": other.change}
            break
    bridged = stage.has("bypass_c") and chain.bypass_c > 0 and (not stage.has("bypass_part") or chain.bypass_part >= 1)
    if stage.inverts and stage.has("bypass_c") and not bridged and chain.source_r > 0:
        whole = {"bypass_part": 1.0} if stage.has("bypass_part") else {}
        changes["smaller-source-resistor"] = {"bypass_c": BRIDGE_F, **whole}
    if not stage.inverts:
        changes["gain-stage"] = {"stage": "gain", "source_r": None, "drain_r": None, "bypass_c": None}
    return changes


def _computed(name: str, less_db: float, changes: Mapping[str, Any]) -> AdviceStep:
    return AdviceStep(name, advice_texts()[name].against, (less_db, less_db), True, changes)


def _ranked(steps: list[AdviceStep]) -> tuple[AdviceStep, ...]:
    return tuple(sorted(steps, key=lambda step: -sum(step.less_db)))
