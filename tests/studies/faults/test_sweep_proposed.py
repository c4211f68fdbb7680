"""A sweep among the proposed readings: only where one can be recorded, by what it tells, and never before safety."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from piezolab.chain import SignalChain
from piezolab.cli import main
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults import Diagnosis, FaultTable, diagnose
from piezolab.studies.faults.drawn_board import table_of
from piezolab.studies.faults.fault_figures import fault_figures, kinds_read
from piezolab.studies.faults.readings import KINDS, SWEEP_CHECKS, SWEPT, Check, Reading, natural

RECORDS = BoardAsBuilt(recorder="interface")


@pytest.fixture(scope="module")
def table() -> FaultTable:
    return table_of(SignalChain(), RECORDS)


def read_of(table: FaultTable, build: int, *keys: str) -> list[Reading]:
    """What a build would show."""
    found = []
    for kind, place in (key.split(":") for key in keys):
        value = table.value[table.index(Check(kind, place)), build]
        found.append(Reading(kind, place, float(natural(kind, value, table.meter))))
    return found


def swept_steps(found: Diagnosis) -> list[str]:
    return [step.check.key for step in (found.next, *found.others) if step and step.check.kind in SWEPT]


def test_without_the_option_all_is_as_it_was() -> None:
    chain, readings = SignalChain(), [Reading("ohm", "clip", 14e3), Reading("ohm", "supply", 4e3)]
    plain = table_of(chain, BoardAsBuilt())
    assert not any(check.kind in SWEPT for check in plain.checks) and kinds_read(BoardAsBuilt()) == KINDS
    usual, could = (fault_figures(chain, readings, ("thin",), build) for build in (None, RECORDS))
    assert usual["build"].pop("recorder") == "none" and could["build"].pop("recorder") == "interface"
    assert set(usual["readings_to_take"]) == set(could["readings_to_take"])
    for name in usual.keys() - {"next", "others", "faults_no_reading_shows", "readings_to_take"}:
        assert json.dumps(usual[name]) == json.dumps(could[name]), name
    steps = {step["reading"]: step for step in (usual["next"], *usual["others"])}
    assert not any(key.endswith(":sweep") for key in steps)
    for step in (could["next"], *could["others"]):
        assert step["reading"].endswith(":sweep") or step == steps[step["reading"]], "another reading's own worth stays"


def test_it_comes_where_it_tells_most_for_its_trouble(table: FaultTable) -> None:
    sound = int(np.flatnonzero(table.of_hypothesis == 0)[7])
    read = read_of(table, sound, "ohm:clip")
    found = diagnose(table, read, ("thin",), kinds_read(RECORDS))
    assert not found.unpowered_only
    assert swept_steps(found) == [found.next.check.key], "once, though it says three things"
    rest = max(step.bits for step in found.others)
    assert found.next.powered and found.next.bits > 1.3 * rest
    told = diagnose(table, [*read, *read_of(table, sound, "corner:sweep")], ("thin",), kinds_read(RECORDS))
    assert not swept_steps(told), "what that sweep did not tell, another would not either"


def test_never_before_what_safety_wants(table: FaultTable) -> None:
    kinds, rng = kinds_read(RECORDS), np.random.default_rng(4)
    sound = int(np.flatnonzero(table.of_hypothesis == 0)[3])
    fine = read_of(table, sound, "ohm:clip", "ohm:supply")
    out = {
        "hot": diagnose(table, fine, ("hot",), kinds),
        "minus": diagnose(table, [*fine, Reading("dc", "clip", -8.7)], (), kinds),
        "over range at the clip": diagnose(table, [Reading("ohm", "clip", np.inf)], (), kinds),
        "more volts than can be": diagnose(table, [*fine, Reading("dc", "source", 80.0)], (), kinds),
        "short": diagnose(table, [Reading("ohm", "clip", 2.0)], (), kinds),
        "nothing read": diagnose(table, (), ("thin",), kinds),
    }
    for why, found in out.items():
        assert found.unpowered_only and not swept_steps(found), why
    assert swept_steps(diagnose(table, fine, (), kinds))
    barred = allowed = 0
    for build in (*rng.choice(np.flatnonzero(table.dangerous), 25), *rng.choice(len(table.weight), 15)):
        for count in (1, 3):
            read = read_of(table, int(build), "ohm:clip", "ohm:source", "ohm:supply")[:count]
            found = diagnose(table, read, (), kinds)
            proposed = swept_steps(found)
            assert not (proposed and (found.short > table.limits.short_share or found.reversed or found.stop))
            barred, allowed = barred + found.unpowered_only, allowed + bool(proposed)
    assert barred > 20 and allowed > 5


def test_what_no_reading_shows_is_less_with_a_sweep(table: FaultTable) -> None:
    without, with_one = (set(diagnose(table, (), (), kinds).unseen) for kinds in (KINDS, kinds_read(RECORDS)))
    assert with_one < without and "small:C_out" in without - with_one and "disc:dead" in with_one


def test_the_command_takes_it_and_refuses_what_is_none() -> None:
    arguments = ["fault", "--reading", "ohm:clip=14k", "--reading", "ohm:supply=4k0", "--heard", "thin"]
    usual, could = (CliRunner().invoke(main, [*arguments, *more]) for more in ((), ("--recorder", "interface")))
    keys = [[step["reading"] for step in (found["next"], *found["others"])]
            for found in (json.loads(usual.output), json.loads(could.output))]  # fmt: skip
    sweeps = {check.key for check in SWEEP_CHECKS}
    assert not sweeps & set(keys[0]) and len(sweeps & set(keys[1])) == 1
    bad = CliRunner().invoke(main, [*arguments, "--recorder", "phone"])
    assert bad.exit_code == 2 and "'phone' is not known; allowed is none or interface." in bad.output
