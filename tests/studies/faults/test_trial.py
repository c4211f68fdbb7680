"""How often the fault is found: builds of another world than the one the study reckons with.

That world has other spreads, ohms ranges of their own test currents, slipping probes and poor contacts, the polarity
diode, bridges between neighbours of the drawn layout, and eyes that find fewer faults. A reading that says OL is taken
twice before it counts, as every step in ohms asks. What the finder proposes without a meter is tried first: a look at
the board, later another cable and battery. The aim is the true place first within four readings for 92 % of the faults
that show, among the first three for 97 %, and 97 % of sound builds called sound. A run takes few builds, so each bar is
lowered by what chance alone may take from so few (once in a hundred trials); PIEZOLAB_LONG=1 takes many, of each kind
of board and of four chains. The choice of readings was tuned on seeds 501, 601 and 701; this trial's are 7 and 8. What
the long run reached stands in `RECORDED`.
"""

import os

import numpy as np
import pytest
from scipy import stats

from piezolab.chain import SignalChain
from piezolab.studies.board.lanes import METHODS
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults import FaultTable
from piezolab.studies.faults.drawn_board import table_of
from piezolab.studies.faults.draws import USUAL
from tests.studies.faults.scores import Scores, score, two_flagged
from tests.studies.faults.trial import ELSEWHERE, Examiner, world

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
FAULTY, SOUND = (400, 100) if LONG else (20, 6)
BOARDS = tuple(METHODS) if LONG else ("stripboard",)
_MEASURED = {"jfet_idss": 6e-3, "jfet_vgsoff": -1.0}
_CHAINS = {
    "follower": SignalChain(), "follower, measured": SignalChain(_MEASURED),
    "gain": SignalChain(stage="gain"), "gain, measured": SignalChain(stage="gain", **_MEASURED),
}  # fmt: skip
BUILDS = [(board, kind) for board in BOARDS for kind in (_CHAINS if LONG else ("follower",))]
#: The long run of 28 November 2026 by kind of board and chain: within four readings the true place first, among the
#: first three; sound boards called sound; a sound place declared to be the one to mend, on boards with a fault and on
#: sound ones; of how many that show. A follower's lanes lie side by side alike on tape and breadboard, and alike on
#: stripboard and perfboard: there it is the same trial. A third of the faults are seen, a tenth go away with another
#: cable or battery. Not run again since the bits expected of a reading were put right: measured gain on wire and
#: breadboard; nor `BY_READINGS_ALONE`.
#:
#: Readings alone do not reach 92: see `BY_READINGS_ALONE`. All 23 at once would put the true place first for 0.957 of
#: 187 followers (seed 502), and four tell less, whatever their order: every range right, tone levels at the far plug,
#: the chance of the first place counted beside the bits, the world that the study itself reckons with brought 0.01 at
#: most; a fifth reading brings 0.927, a sixth 0.947.
#:
#: Not among the first three after four readings stand 141 of 3,816 (seeds 501, 601, 701; follower on stripboard and
#: breadboard, measured one on stripboard, gain stage on tape; four times much the same faults): at C_out 36 (open,
#: reversed, hurt by phantom power), jack and transistor 17 each, battery's leads and disc's wires 9, flat battery and
#: R_S 8, R_bleed 7, others 30. One reading more, the right one, brings 124 of them among the three; 6 need two more;
#: 11 are lost with all readings at once. It would be volts at the jack or the page's tone for C_out, ohms at the plug
#: for the jack, volts at the clip; in 81 cases with the battery in; it was next in 21, and in 50 told less than half
#: of what was asked instead, since there "nothing is wrong" leads, with disc, C_sup or transistor behind it (125 of
#: the 141 have it among the three). Of those not found without a meter 0.108 are lost where it is said to sound fine,
#: 0.044 where a word is said; neither ohms against shorts (0.057 with none, 0.057 with two), nor slips, nor a meter
#: without AC make it more. Tried then, by the mean change of the first three: their chance beside the bits, 0.000;
#: with the first's, 0.001; two readings ahead, -0.011; another cable from a chance of 0.02, 0.003; both and the tone
#: at no more effort, 0.004; places made one (diode, switch and battery with the leads; a short with jack or disc; legs
#: with transistor), 0.0015 at most. Not to count "nothing is wrong" as a place: 0.008. What stayed: the bits expected
#: of a reading are those it has, 0.002 (first place 0.004) on those seeds: a mistake of up to 0.09 bits put right, no
#: gain claimed.
#:
#: A gain stage of the default type and resistors has too little room for most of its type: sound ones are heard as dead
#: or distorted, and "the transistor does not suit" comes before "nothing is wrong".
RECORDED = {
    ("breadboard", "follower"): (0.922, 0.963, 1.0, 0.006, 0.0, 320),
    ("stripboard", "follower"): (0.925, 0.959, 1.0, 0.006, 0.0, 318),
    ("breadboard", "follower, measured"): (0.928, 0.981, 1.0, 0.013, 0.0, 318),
    ("stripboard", "follower, measured"): (0.931, 0.963, 0.99, 0.006, 0.0, 320),
    ("tape", "gain"): (0.937, 0.971, 0.92, 0.003, 0.0, 315),
    ("stripboard", "gain"): (0.93, 0.968, 0.92, 0.003, 0.0, 314),
    ("wire", "gain"): (0.946, 0.968, 0.94, 0.0, 0.0, 315),
    ("breadboard", "gain"): (0.951, 0.974, 0.92, 0.003, 0.0, 308),
    ("tape", "gain, measured"): (0.942, 0.991, 0.99, 0.006, 0.0, 330),
    ("stripboard", "gain, measured"): (0.961, 0.973, 0.98, 0.006, 0.0, 332),
    ("wire", "gain, measured"): (0.946, 0.976, 0.99, 0.003, 0.0, 331),
    ("breadboard", "gain, measured"): (0.929, 0.969, 0.99, 0.003, 0.0, 324),
}
#: The same without a look or an exchange.
BY_READINGS_ALONE = {
    ("breadboard", "follower"): (0.866, 0.941, 0.98, 0.019, 0.0, 320),
    ("stripboard", "follower"): (0.855, 0.921, 0.98, 0.009, 0.0, 318),
    ("breadboard", "follower, measured"): (0.871, 0.959, 0.99, 0.013, 0.0, 318),
    ("stripboard", "follower, measured"): (0.856, 0.934, 0.99, 0.009, 0.0, 320),
    ("stripboard", "gain"): (0.828, 0.904, 0.92, 0.0, 0.0, 314),
    ("stripboard", "gain, measured"): (0.88, 0.925, 1.0, 0.003, 0.0, 332),
}
#: What is held; the aim is 0.92, 0.97, 0.97 for all.
HELD = {"follower": (0.92, 0.96, 0.97), "follower, measured": (0.92, 0.96, 0.97), "gain": (0.92, 0.96, 0.92),
        "gain, measured": (0.92, 0.97, 0.97)}  # fmt: skip
MISLED = 0.03


def least(bar: float, count: int) -> float:
    """The share that a method just as good as the bar falls short of once in a hundred trials."""
    return float(stats.binom.ppf(0.01, count, bar)) / count


@pytest.fixture(scope="module", params=BUILDS, ids=", ".join)
def trial(request: pytest.FixtureRequest) -> tuple[tuple[str, str], Scores, Scores]:
    method, kind = request.param
    chain = _CHAINS[kind]
    drawn = table_of(chain, BoardAsBuilt(method=method))
    made = (world(chain, drawn, count, faults, seed=7 + faults, method=method)
            for count, faults in ((FAULTY, 1), (SOUND, 0)))  # fmt: skip
    return (request.param, *(score(each, tries=True) for each in made))


def test_found_within_four_readings(trial: tuple[tuple[str, str], Scores, Scores]) -> None:
    build, faulty, sound = trial
    count = int(faulty.counted.sum())
    reached = faulty.found(1), faulty.found(3), sound.found(1, counted=False), faulty.misled, sound.misled_at_all
    if LONG:
        print(f"{build}: {tuple(round(share, 3) for share in reached)}, {count},")
    assert count > 0.6 * len(faulty.counted)
    first, three, healthy = HELD[build[1]]
    assert reached[0] >= least(first, count) and reached[1] >= least(three, count)
    assert reached[2] >= least(healthy, len(sound.truth))
    assert reached[3] <= stats.binom.ppf(0.99, count, MISLED) / count
    assert reached[4] <= stats.binom.ppf(0.99, len(sound.truth), MISLED) / len(sound.truth)
    assert reached[1] >= reached[0] >= faulty.exactly
    assert faulty.two[faulty.counted].mean() < 0.05, "one fault is not taken for two"


def test_sound_gain_stages_are_called_sound() -> None:
    chain = SignalChain(stage="gain")
    drawn = table_of(chain, BoardAsBuilt(method="stripboard"))
    sound = score(world(chain, drawn, 60 if LONG else 3, 0, seed=31, method="stripboard"))
    assert sound.found(1, counted=False) >= least(HELD["gain"][2], len(sound.truth))
    assert not (sound.verdict & (sound.place > 0)).any(), "no place of a sound board is declared the one to mend"
    assert not sound.unsafe.any() and not sound.powered_first.any()


def test_the_battery_stays_out_while_it_could_hurt(trial: tuple[tuple[str, str], Scores, Scores]) -> None:
    _, faulty, sound = trial
    for each in (faulty, sound):
        assert not each.powered_first.any(), "nothing is powered first"
        assert not each.unsafe.any(), "nor while a short or a reversal is likelier than its limit"
    assert faulty.powered.any(), "but later on"


def test_two_faults_are_flagged(table: FaultTable) -> None:
    flagged = two_flagged(world(SignalChain(), table, 60 if LONG else 30, 2, seed=10))
    assert len(flagged) >= 5
    assert flagged[:, -1].mean() >= least(0.80, len(flagged))


def test_the_world_is_another_one(table: FaultTable) -> None:
    assert ELSEWHERE.lambda_ != USUAL.lambda_ and ELSEWHERE.leakage != USUAL.leakage
    assert ELSEWHERE.temperature != USUAL.temperature and ELSEWHERE.resistor > USUAL.resistor
    made = world(SignalChain(), table, 300, 0, seed=11)
    m = [check.key for check in table.checks].index("ohm:source")
    inside = np.sinh(0) + table.value[m, table.of_hypothesis == 0]
    theirs = np.log(made.found.ohm["source"] + 1)
    assert np.std(theirs) > 1.2 * np.std(inside)


def test_readings_are_taken_by_a_hand_that_slips(table: FaultTable) -> None:
    made = world(SignalChain(), table, 400, 0, seed=12)
    check = next(check for check in table.checks if check.key == "dc:source")
    errors, slips = [], 0
    for build in range(400):
        reading = Examiner(made, build).read(check)
        true = made.found.dc["source"][build]
        limit = float(table.meter.error(true, reading.digit))
        off = abs(reading.value - true)
        if off > limit + reading.digit:
            slips += 1
        else:
            errors.append(off / limit)
    assert 0.02 < slips / 400 < 0.09 and max(errors) > 0.9
    shown = reading.value / reading.digit
    assert shown == pytest.approx(round(shown)), "rounded to the display's last place"
