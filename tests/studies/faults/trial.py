"""How good the diagnosis is: builds from another world than the one it reckons with, examined as it asks."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from scipy import special

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults import hearing
from piezolab.studies.faults.bands import band_of, fault_band, odd_tone, outside, widened
from piezolab.studies.faults.batches import simulate_wide
from piezolab.studies.faults.diagnosis import Diagnosis, diagnose
from piezolab.studies.faults.drawn_board import side_by_side
from piezolab.studies.faults.draws import Spread, with_faults
from piezolab.studies.faults.fault_network import fault_network
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.knowledge import NOT_KNOCKED, knowledge
from piezolab.studies.faults.making import (
    bridged,
    crackles,
    drawn_w,
    faults_of,
    numbers,
    pairs_of,
    priors,
    question_of,
    suited,
)
from piezolab.studies.faults.readings import KINDS, SWEEP_CHECKS, SWEPT, SWEPT_SIGMA, Check, Reading, natural, scaled
from piezolab.studies.faults.simulate import Findings, Tone
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.metering.instrument import Meter

#: Wider and elsewhere than what the study reckons with.
ELSEWHERE = Spread(
    resistor=0.02, film=0.15, electrolytic=0.3, disc=0.25, temperature=(-20.0, 13.0), lambda_=(0.3, 3.0),
    leakage=(0.01, 1.5), insulation=(0.2, 10.0), measured=0.03, tone=0.15, test_v=0.3, charge=(0.05, 1.05),
    diode=(0.3, 3.0), diode_leak=(0.05, 20.0), range_up=0.3,
)  # fmt: skip
SLIP_EVERY = 20
_SOUND = 800
_SAID = 0.8  # of what holds is said
_SAID_ANYWAY = 0.05  # of what does not hold, by a poor ear
_CONFUSED = 0.15  # of what a poor ear says is another word
_TAKEN_FOR = {
    "weak": "dead", "thin": "weak", "hum": "hiss", "hiss": "hum", "distorted": "crackle", "crackle": "distorted",
    "thump": "crackle", "dead": "weak",
}  # fmt: skip
_TOLD = 0.9  # say whether it ever worked, some of them wrongly, a poor ear more often
_TOLD_OF_A_KNOCK = 0.7
_MISTOLD, _MISTOLD_POORLY = 0.03, 0.12
_OTHER_HISTORY = 0.7  # how far, on a logistic scale, boards here had worked before more or less often
_OTHER_EYES = (-0.4, 0.7)  # eyes here find fewer, some kinds far fewer and some more
_NO_CONTACT = 0.02  # of ohms are read with a probe that does not touch
_STILL_NONE = 0.1  # of these after the points were pressed down, as every step in ohms asks where it says OL


@dataclass(frozen=True)
class World:
    """Simulated builds: the faults in each (none, one or two), and what a perfect meter and ear would find.

    alone: of builds with two faults, what the same builds would read with each alone; without: of builds with one, with
    none; band: that holds 99 % of the sound builds of this world, by check, scaled, (M, 2); worked: whether each had
    worked before, (N,); by_eye: whether its maker sees the fault when the board is compared with the drawing, and
    exchanged: whether it goes away with another cable and battery, (N,) each.
    """

    table: FaultTable
    faults: tuple[tuple[Hypothesis, ...], ...]
    found: Findings
    heard: np.ndarray
    tone: np.ndarray
    alone: tuple[Findings, ...]
    without: Findings
    band: np.ndarray
    worked: np.ndarray
    by_eye: np.ndarray
    exchanged: np.ndarray
    seed: int

    def __len__(self) -> int:
        return len(self.faults)


def world(
    chain: SignalChain,
    table: FaultTable,
    count: int,
    faults: int,
    seed: int,
    spread: Spread = ELSEWHERE,
    method: str = "",
) -> World:
    """`count` builds with 0, 1 or 2 faults drawn from the priors; method: the kind of board, on whose drawn layout only
    lanes side by side and neighbouring legs of the transistor are bridged (any two lanes where none is named)."""
    network = fault_network(assemble(chain.values), table.diode)
    every = faults_of(chain, network, any(fault.kind == "stereo_plug" for fault in table.hypotheses))
    prior = priors(every)
    if method:
        prior = prior * [_there(fault, chain, method) for fault in every]
        prior[1:] *= (1 - prior[0]) / prior[1:].sum()
    rng = np.random.default_rng(seed)
    if faults == 0:
        chosen: list[tuple[Hypothesis, ...]] = [()] * count
    elif faults == 1:
        share = prior[1:] / prior[1:].sum()
        chosen = [(every[1 + k],) for k in rng.choice(len(share), count, p=share)]
    else:
        chosen = list(pairs_of(every, prior, count, rng))
    lists = [()] * _SOUND + chosen
    question = question_of(chain, table.meter, Tone(), SWEEP_CHECKS[0] in table.checks)
    sound_ones = made = suited(chain, network, len(lists), spread, rng, question)
    alone = []
    for k in range(faults):  # each fault is the same in the build that has it alone
        one = [several[k : k + 1] for several in lists]
        if faults > 1:
            alone.append(with_faults(sound_ones, one, np.random.default_rng((seed, k)), 1))
        made = with_faults(made, one, np.random.default_rng((seed, k)), 1)
    found = simulate_wide(network, made, len(lists), question)
    crackling = np.array([crackles(several) for several in lists])
    sound = slice(0, _SOUND)
    heard = hearing.holds(found, sound, crackling, table.limits.hot_w + drawn_w(chain))
    tone = hearing.tone_shares(found, sound)
    return World(
        table,
        tuple(chosen),
        _after(found, _SOUND),
        heard[:, _SOUND:],
        tone[:, _SOUND:],
        tuple(_after(simulate_wide(network, each, len(lists), question), _SOUND) for each in alone),
        _after(simulate_wide(network, sound_ones, len(lists), question) if faults == 1 else found, _SOUND),
        band_of(table, scaled_all(table, found)[:, sound]),
        _histories(chosen, seed),
        _sights(chosen, seed),
        np.array([any(fault.spot == "cable" or fault.kind == "flat" for fault in faults) for faults in chosen]),
        seed,
    )


def _histories(chosen: list[tuple[Hypothesis, ...]], seed: int) -> np.ndarray:
    """Whether each build had worked before, (N,): oftener or more seldom, by kind, than the study believes."""
    rng, worn = np.random.default_rng((seed, 1)), knowledge().worn
    moved = {kind: special.expit(special.logit(worn[kind]) + _OTHER_HISTORY * rng.normal()) for kind in sorted(worn)}
    shares = [min((moved[fault.kind] for fault in faults), default=moved["healthy"]) for faults in chosen]
    return rng.random(len(chosen)) < np.array(shares)


def _sights(chosen: list[tuple[Hypothesis, ...]], seed: int) -> np.ndarray:
    """Whether a fault of each build is seen by its maker, (N,): eyes here find more or fewer, by kind, than the study
    believes, and nothing inside a cable."""
    rng, seen = np.random.default_rng((seed, 2)), knowledge().seen
    moved = {
        kind: special.expit(special.logit(seen[kind]) + rng.normal(*_OTHER_EYES)) if seen[kind] else 0.0
        for kind in sorted(seen)
    }
    draws = rng.random((len(chosen), 2))
    return np.array([
        any(draw < moved[fault.kind] and fault.spot != "cable" for draw, fault in zip(row, faults, strict=False))
        for row, faults in zip(draws, chosen, strict=True)
    ], bool)  # fmt: skip


def _there(fault: Hypothesis, chain: SignalChain, method: str) -> bool:
    """Whether a bridge can come about on this kind of board; all else can."""
    return fault.kind != "lane_bridge" or bridged(fault) in side_by_side(chain, BoardAsBuilt(method).layout(chain))


def _after(found: Findings, start: int) -> Findings:
    fields = {}
    for name, value in vars(found).items():
        fields[name] = {k: v[start:] for k, v in value.items()} if isinstance(value, dict) else value[start:]
    return Findings(**fields)


def shown(world_: World, ac: np.ndarray, ear: bool = True, swept: bool = False) -> np.ndarray:
    """Whether each build's fault shows: some available reading leaves the band that holds 99 % of this world's sound
    builds, and differs by more than twice the meter's limit from that of the same build without its fault.

    ac: who has a usable AC range, (N,); ear: whether the tone by ear counts; swept: whether a sweep counts.
    """
    table, band = world_.table, widened(world_.table, world_.band)
    value, sound = scaled_all(table, world_.found), scaled_all(table, world_.without)
    answer = odd_tone(table, world_.tone) if ear else np.zeros(len(world_), bool)
    for n in range(len(world_)):
        here, own = value[:, n : n + 1], np.repeat(sound[:, n : n + 1], 2, axis=1)
        moved = outside(table, here, widened(table, widened(table, own)), bool(ac[n]), swept)
        answer[n] |= (moved & outside(table, here, band, bool(ac[n]), swept)).any()
    return answer


def both_shown(world_: World, ac: np.ndarray) -> np.ndarray:
    """Of builds with two faults: whether each shows beside the other, (N,).

    For each fault some available reading of the build must leave the band that holds 99 % of the builds with the other
    alone, and must be moved by it: by more than twice the meter's limit against the same build with the other alone.
    A build that would heat up has readings with the battery out only.
    """
    hot_w = world_.table.limits.hot_w + drawn_w(world_.table.chain)
    table, value = world_.table, scaled_all(world_.table, world_.found)
    keys = [fault.key for fault in table.hypotheses]
    allowed = np.array([[not check.powered for check in table.checks[:-1]]]).T | (
        np.abs(world_.found.battery_w) < hot_w
    )
    bands: dict[str, np.ndarray] = {}
    answer = np.ones(len(world_), bool)
    for k, found in enumerate(world_.alone):
        without = scaled_all(table, found)
        for n, pair in enumerate(world_.faults):
            key = pair[k].key
            if key not in bands:
                bands[key] = fault_band(table, keys.index(key))
            here = value[:, n : n + 1]
            out = outside(table, here, bands[key], bool(ac[n])) & allowed[:, n : n + 1]
            alone = widened(table, widened(table, band_of(table, without[:, n : n + 1])))
            answer[n] &= (out & outside(table, here, alone)).any()
    return answer


def scaled_all(table: FaultTable, found: Findings) -> np.ndarray:
    """Findings at all numeric checks, on the table's scale, (M, N)."""
    return np.stack([scaled(check.kind, numbers(found, check), table.meter) for check in table.checks[:-1]])


class Examiner:
    """Reads one build with a real meter and a human hand."""

    def __init__(self, world_: World, build: int, slips: bool = True, poor_ear: bool = False) -> None:
        self.world, self.build, self.slips = world_, build, slips
        self.anyway, self.confused = (_SAID_ANYWAY, _CONFUSED) if poor_ear else (0.0, 0.0)
        self.mistold = _MISTOLD_POORLY if poor_ear else _MISTOLD
        self.rng = np.random.default_rng((world_.seed, build))

    def words(self) -> tuple[str, ...]:
        """What its maker says about the sound, and whether it ever worked."""
        words = []
        for word, surely in zip(hearing.WORDS, self.world.heard[:, self.build], strict=True):
            anyway = 0.0 if word == "hot" else self.anyway
            if self.rng.random() < anyway + (_SAID - anyway) * surely:
                words.append(_TAKEN_FOR.get(word, word) if self.rng.random() < self.confused else word)
        fine = self.world.heard[:, self.build].max() < 0.5
        told = (hearing.NEW, hearing.WORKED)[int(self.world.worked[self.build] ^ (self.rng.random() < self.mistold))]
        known = (told,) if self.rng.random() < _TOLD else ()
        if known == (hearing.WORKED,) and self._knocked():
            known = (*known, hearing.KNOCKED)
        return (*(dict.fromkeys(words) or ((hearing.FINE,) if fine else ())), *known)

    def _knocked(self) -> bool:
        """Whether its maker says that it is so since a drop or knock: of a draw of its own, often not thought of."""
        share = max((knowledge().knocked[fault.kind] for fault in self.world.faults[self.build]), default=NOT_KNOCKED)
        return np.random.default_rng((self.world.seed, self.build, 3)).random() < _TOLD_OF_A_KNOCK * share

    def read(self, check: Check) -> Reading:
        """One reading: every 20th on a neighbouring lane, some ohms with no contact, else within the meter's limit,
        rounded to its digits."""
        table, meter = self.world.table, self.world.table.meter
        if check.kind == "tone":
            shares = self.world.tone[:, self.build]
            return Reading("tone", check.place, hearing.TONES[self.rng.choice(4, p=shares / shares.sum())])
        m = table.index(check)
        beside = table.neighbours[m]
        if self.slips and beside and self.rng.random() < 1 / SLIP_EVERY:
            m = beside[self.rng.integers(len(beside))]
        if self.slips and check.kind == "ohm" and self.rng.random() < _NO_CONTACT * _STILL_NONE:
            return Reading(check.kind, check.place, np.inf, float(meter.ohm_digit(meter.ohm_max)))
        true = float(numbers(self.world.found, table.checks[m])[self.build])
        if check.kind in SWEPT:
            off = scaled(check.kind, true, meter) + SWEPT_SIGMA[check.kind] * self.rng.normal()
            return Reading(check.kind, check.place, _held(check.kind, float(natural(check.kind, off, meter))))
        return Reading(check.kind, check.place, *_displayed(check.kind, true, meter, self.rng))


def _held(kind: str, value: float) -> float:
    """Within what such a reading can be."""
    low, high = {"bend": (0.0, 1.0), "corner": (0.0, 20e3)}.get(kind, (-200.0, 100.0))
    return min(max(value, low), high)


def _displayed(kind: str, true: float, meter: Meter, rng: np.random.Generator) -> tuple[float, float]:
    digit_of = {"dc": meter.volt_digit, "ohm": meter.ohm_digit}.get(kind, meter.ac_digit)
    digit = float(digit_of(true))
    value = true + float(meter.error(true, digit)) * rng.uniform(-1, 1)
    if kind == "ohm" and value > meter.ohm_max:
        return np.inf, digit
    value = float(meter.shown(value, digit))
    return (value if kind == "dc" else max(value, 0.0)), digit


@dataclass(frozen=True)
class Course:
    """One build examined: the diagnosis after each reading (first without any), and the readings; tried: what found it
    without a meter, after the last of these readings, or ""."""

    diagnoses: tuple[Diagnosis, ...]
    readings: tuple[Reading, ...]
    heard: tuple[str, ...]
    tried: str = ""


def examine(
    world_: World, build: int, most: int, kinds: Collection[str] = KINDS, slips: bool = True, hear: bool = True,
    poor_ear: bool = False, tries: bool = False,
) -> Course:
    """Take up to `most` readings, each the one that the diagnosis proposes; hear: the maker says how it sounds;
    poor_ear: some of the words are wrong; tries: what the diagnosis proposes to try without a meter is tried first, and
    the fault is found where that shows it."""  # fmt: skip
    examiner = Examiner(world_, build, slips, poor_ear)
    heard = examiner.words() if hear else ()
    readings: list[Reading] = []
    diagnoses = [diagnose(world_.table, readings, heard, kinds)]
    shows = {hearing.LOOKED: world_.by_eye[build], hearing.EXCHANGED: world_.exchanged[build]}
    while True:
        while tries and diagnoses[-1].to_try:
            word = diagnoses[-1].to_try[0][0]
            if shows[word]:
                return Course(tuple(diagnoses), tuple(readings), heard, word)
            heard = (*heard, word)
            diagnoses[-1] = diagnose(world_.table, readings, heard, kinds)
        if len(diagnoses) > most or diagnoses[-1].next is None:
            break
        check = diagnoses[-1].next.check
        sweep = check.kind in SWEPT  # one reading, which says three things
        readings += [examiner.read(each) for each in ([Check(k, check.place) for k in SWEPT] if sweep else [check])]
        diagnoses.append(diagnose(world_.table, readings, heard, kinds))
    return Course(tuple(diagnoses), tuple(readings), heard)


def ranks(spot: str, course: Course) -> list[int]:
    """Place of a spot in the list of spots, from 0, after each reading."""
    return [[each.spot for each in step.spots].index(spot) for step in course.diagnoses]
