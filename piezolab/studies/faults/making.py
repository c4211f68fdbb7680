"""What every single fault of a chain would read: computed once for each chain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.giving_way import give_way
from piezolab.pitch import parse_tuning
from piezolab.studies.build_options import NO_LED
from piezolab.studies.faults import hearing
from piezolab.studies.faults.batches import simulate_wide
from piezolab.studies.faults.draws import (
    SEED,
    USUAL,
    Spread,
    blocks,
    electrolytics,
    fitting,
    sound_builds,
    tiled,
    with_faults,
)
from piezolab.studies.faults.fault_network import FaultNetwork, fault_network
from piezolab.studies.faults.hypotheses import CRACKLING, Hypothesis, hypotheses, with_shared_spots
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.known_besides import known_of
from piezolab.studies.faults.misbuilt import misbuilt
from piezolab.studies.faults.network_names import SWEEP, Settings
from piezolab.studies.faults.readings import INPUT, SWEPT, Check, natural, scaled
from piezolab.studies.faults.simulate import Findings, Question, Tone
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.led import led_if_lit
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.metering.sound_board import sound_readings
from piezolab.studies.phantom import driven_backwards

SIZE = 216
_LEAST_RESOLVED_DIGITS = 10.0
_NOT_BESIDE = 0.1  # common practice, no source
_NEIGHBOURS_SHARE = 10  # a build's bandwidth reaches over a tenth of the builds of its fault, each way


def fault_table(
    chain: SignalChain,
    meter: Meter | None = None,
    tone: Tone | None = None,
    diode: bool = True,
    ring: bool = False,
    beside: frozenset[tuple[str, str]] | None = None,
    light: str = NO_LED,
    swept: bool = False,
) -> FaultTable:
    """The table of a chain, with the meter and the tone that will be used. Kept for the chains used last.

    diode: whether one is built in against a reversed battery, as the build sheet has it; ring, beside: as in
    `faults_of`; light: colour of the LED, or none; swept: whether a sweep is read, too. `drawn_board.table_of` takes
    all others from what is known of the build.
    """
    return _made(chain, meter or Meter(), tone or Tone(), SIZE, diode, ring, beside, light, swept)


@lru_cache(maxsize=6)
def _made(
    chain: SignalChain,
    meter: Meter,
    tone: Tone,
    size: int,
    diode: bool = True,
    ring: bool = False,
    beside: frozenset[tuple[str, str]] | None = None,
    light: str = NO_LED,
    swept: bool = False,
) -> FaultTable:
    shines = led_if_lit(chain, light, diode)
    network = fault_network(assemble(chain.values), diode, shines)
    faults = faults_of(chain, network, ring, beside)
    rng = np.random.default_rng(SEED)
    question = question_of(chain, meter, tone, swept)
    sound = tiled(suited(chain, network, size, USUAL, rng, question), len(faults))
    settings = with_faults(sound, [[fault] for fault in faults], rng, size)
    found = simulate_wide(network, settings, len(faults) * size, question)
    crackling = np.repeat([crackles((fault,)) for fault in faults], size)
    limits, prior, healthy = knowledge().limits, priors(faults), slice(0, size)
    hot_w = limits.hot_w + drawn_w(chain) + (shines.ampere * chain.values.supply_v if shines else 0.0)
    spots = tuple(dict.fromkeys(fault.spot for fault in faults))
    spot_of = np.array([spots.index(fault.spot) for fault in faults])
    checks = checks_of(found)
    value = np.empty((len(checks), len(faults) * size), np.float32)
    for row, check in zip(value, checks, strict=True):
        row[:] = scaled(check.kind, numbers(found, check), meter)
        give_way()
    return FaultTable(
        chain=chain,
        meter=meter,
        diode=diode,
        fed=("clip", *(part.nodes[0] for part in network.batteries), *filter(None, [network.supply])),
        most_v=most_volts(value, checks, meter),
        sound=sound_readings(chain, diode, meter, light),
        limits=limits,
        hypotheses=faults,
        prior=prior,
        spots=spots,
        spot_of=spot_of,
        of_hypothesis=np.repeat(np.arange(len(faults)), size),
        spot=np.repeat(spot_of, size),
        weight=np.repeat(prior / size, size),
        checks=(*checks, Check("tone", INPUT)),
        value=value,
        width=_all_widths(value.reshape(len(checks), len(faults), size), faults).reshape(value.shape),
        neighbours=neighbours_of(checks),
        resolved=np.array([_resolved(check, numbers(found, check)[healthy], meter) for check in checks]),
        dangerous=np.abs(found.battery_w) > hot_w,
        heard=hearing.holds(found, healthy, crackling, hot_w).astype(np.float32),
        tone=hearing.tone_shares(found, healthy).astype(np.float32),
        known=np.repeat(known_of(faults), size, axis=1).astype(np.float32),
    )


def most_volts(value: np.ndarray, checks: tuple[Check, ...], meter: Meter) -> float:
    """The most volts, either way, that a reading on these builds (M, P), scaled, can show: a quarter more than any."""
    most = [
        np.abs(natural(check.kind, row, meter)).max() for check, row in zip(checks, value, strict=True)
        if check.kind not in ("ohm", *SWEPT)
    ]  # fmt: skip
    return 1.25 * float(max(most))


def faults_of(
    chain: SignalChain,
    network: FaultNetwork,
    ring: bool = False,
    beside: frozenset[tuple[str, str]] | None = None,
) -> tuple[Hypothesis, ...]:
    """All single faults of a chain, "healthy" first.

    ring: whether the jack's ring contact switches the battery; beside: pairs of nodes that lie side by side on the
    board (`drawn_board.side_by_side`), where bridges come about sooner than elsewhere; None: not known.
    """
    battery = network.powered and chain.supply != "adapter"
    end_v = 0.0
    if battery:
        kind = catalogue.batteries()[chain.supply]
        end_v = kind.end_v * chain.values.supply_v / kind.nominal_v
    large = electrolytics(network)
    polarised = large - driven_backwards(chain, assemble(chain.values))
    found = hypotheses(network, battery=battery, end_v=end_v, electrolytics=polarised)
    found = [_where_drawn(fault, beside) for fault in (*found, *misbuilt(network, large, ring))]
    return with_shared_spots(found, network.transistors)


def _where_drawn(fault: Hypothesis, beside: frozenset[tuple[str, str]] | None) -> Hypothesis:
    """A bridge of lanes that do not lie side by side is rarer: a strand of wire, or a board that is not as drawn."""
    if beside is None or fault.kind != "lane_bridge" or bridged(fault) in beside:
        return fault
    return replace(fault, weight=_NOT_BESIDE * fault.weight)


def bridged(fault: Hypothesis) -> tuple[str, str]:
    """The two lanes of a bridge."""
    one, other = sorted(fault.key.partition(":")[2].split("|"))
    return one, other


def drawn_w(chain: SignalChain) -> float:
    """What else draws from a sound build's battery by intention, W: no sign of a short."""
    return chain.other_current * chain.values.supply_v


def question_of(chain: SignalChain, meter: Meter, tone: Tone, swept: bool = False) -> Question:
    """With what the builds of a chain are examined; swept: with a sweep, too."""
    low = min(note.frequency_hz for note in parse_tuning(chain.tuning))
    return Question(meter, tone, chain.values.play_v, low, float(chain.values.pickup_c) if swept else None)


def priors(faults: tuple[Hypothesis, ...]) -> np.ndarray:
    """Prior probability of each single fault, "healthy" among them, given that there is at most one."""
    known = knowledge()
    total = np.array([known.weights[fault.kind] for fault in faults])
    share = np.array([fault.weight for fault in faults])
    kinds = np.array([fault.kind for fault in faults])
    within = np.array([share[kinds == fault.kind].sum() for fault in faults])
    prior = total * share / within
    prior *= (1 - known.limits.healthy) / prior.sum()
    prior[0] = known.limits.healthy
    return prior


def pairs_of(
    faults: tuple[Hypothesis, ...], prior: np.ndarray, count: int, rng: np.random.Generator
) -> list[tuple[Hypothesis, Hypothesis]]:
    """Pairs of faults at different spots, drawn by their priors."""
    found: list[tuple[Hypothesis, Hypothesis]] = []
    share = prior[1:] / prior[1:].sum()
    while len(found) < count:
        one, other = (faults[1 + k] for k in rng.choice(len(share), 2, p=share))
        if one.spot != other.spot:
            found.append((one, other))
    return found


def checks_of(found: Findings) -> tuple[Check, ...]:
    """All numeric checks, ohms first."""
    return tuple(
        Check(kind, place) for kind in ("ohm", "dc", "low", "high", *SWEPT) for place in getattr(found, kind)
    )


def numbers(found: Findings, check: Check) -> np.ndarray:
    """What a perfect meter would show at a check, (P,)."""
    return getattr(found, check.kind)[check.place]


def neighbours_of(checks: tuple[Check, ...]) -> tuple[tuple[int, ...], ...]:
    """For each check those of the lanes beside it, where a slipping probe lands: clip and plugs have none, they are off
    the board."""
    own = ("clip", "plug", "cable", "load", SWEEP)
    answer = []
    for check in checks:
        row = [n for n, other in enumerate(checks) if other.kind == check.kind and other.place not in own]
        if check.place in own:
            answer.append(())
            continue
        at = row.index(checks.index(check))
        answer.append(tuple(row[k] for k in (at - 1, at + 1) if 0 <= k < len(row)))
    return tuple(answer)


def _resolved(check: Check, sound: np.ndarray, meter: Meter) -> bool:
    if check.kind not in ("low", "high"):
        return True
    if not meter.reads_ac or check.place == "load":  # the load's terminals are not within reach of a meter
        return False
    typical = float(np.median(sound))
    return typical >= _LEAST_RESOLVED_DIGITS * float(meter.ac_digit(typical))


def crackles(faults: Sequence[Hypothesis]) -> float:
    """How surely a build with these faults crackles: some bad contacts and leaks do, not all."""
    return 0.5 if any(fault.kind in CRACKLING for fault in faults) else 0.0


def suited(
    chain: SignalChain,
    network: FaultNetwork,
    size: int,
    spread: Spread,
    rng: np.random.Generator,
    question: Question,
) -> Settings:
    """Sound builds whose transistor suits the chain: one that does not is a fault of its own."""
    if not network.transistors:
        return sound_builds(chain, network, size, spread, rng)
    count = 2 * size
    sound = sound_builds(chain, network, count, spread, rng)
    return fitting(sound, simulate_wide(network, sound, count, question).swing, size)


def _all_widths(value: np.ndarray, faults: Sequence[Hypothesis]) -> np.ndarray:
    """Bandwidths of (checks, faults, builds): each way in which a fault is made has its own."""
    answer = np.empty_like(value)
    ways = np.array([len(fault.edits) for fault in faults])
    for count in np.unique(ways):
        for here in blocks(value.shape[-1], int(count)):
            answer[:, ways == count, here] = _widths(value[:, ways == count, here])
    return answer


def _widths(value: np.ndarray) -> np.ndarray:
    """Half the distance between the k-th lower and the k-th higher neighbour of each build, along the last of three
    axes."""
    size = value.shape[-1]
    k = max(2, size // _NEIGHBOURS_SHARE)
    at = np.arange(size)
    low, high = np.maximum(at - k, 0), np.minimum(at + k, size - 1)
    answer = np.empty_like(value)
    for widths, values in zip(answer, value, strict=True):
        order = np.argsort(values, axis=-1)
        ranked = np.take_along_axis(values, order, -1)
        spread = (ranked[..., high] - ranked[..., low]) * (k / np.maximum(high - low, 1)).astype(np.float32)
        np.put_along_axis(widths, order, spread, -1)
        give_way()
    return answer
