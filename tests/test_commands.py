"""The commands about drawer and spread: what they print is what the studies found; what cannot be read is named."""

import json

import pytest
from click.testing import CliRunner

from piezolab.chain import SignalChain
from piezolab.chain.link import read_link
from piezolab.cli import main
from piezolab.commands import COMMANDS
from piezolab.pages.what_shall_i_build_from_my_drawer.typed_stock import FIELDS, measured_of
from piezolab.studies.choosing.drawer import DrawerTransistor
from piezolab.studies.choosing.spread import spread
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import Wish, judged_figures, missed

TIN = ["--resistors", "2k2 3k3 4k7 6k8 100k 1M 4M7", "--transistors", ""]


def run(*words: str) -> dict:
    done = CliRunner().invoke(main, list(words))
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_five_measured_transistors_and_a_tin_of_resistors_become_links_to_builds() -> None:
    parts = ["1=2N3819:3m:-1.6", "2=2N3819:12m:-4.9", "3=2N3819:7m:-3", "4=2N3819:14m:-7", "5=2N3819:6.8m:-3.05"]
    found = run("drawer", "", *TIN, "--capacitors", "", *(word for part in parts for word in ("--measured", part)))
    named = {each["transistor"]["name"] for key in ("transistors", "put_aside") for each in found[key]}
    assert named == {"1", "2", "3", "4", "5"}
    for each in found["transistors"]:
        chain, problems = read_link(each["link"])
        assert not problems and not missed(judged_figures(judgement(chain)), Wish())
        assert float(chain.jfet_idss) == each["transistor"]["idss_a"]
        assert all(piece["goes"].endswith("_c") for piece in each["to_buy"]) and each["to_buy"]
    assert {part["name"] for part in found["pairs"][0]["transistors"]} == {"3", "5"}
    assert found["pairs"][0]["matched_blindly"] < 0.2


def test_spread_is_that_of_the_study() -> None:
    chain = SignalChain(stage="gain", play_v=0.02)
    found, same = run("spread", "stage=gain&play_v=20m", "--builds", "400"), spread(chain, size=400)
    assert found["fit"]["share"] == same.fits and found["fit"]["by_wish"] == same.fits_each
    assert found["tightest"] == same.tightest and list(found["matters"]) == list(same.matters)
    assert found["response"]["level_db"]["50"] == same.level_db[1].tolist()
    assert found["figures"]["life_h"] == pytest.approx(sorted(found["figures"]["life_h"]))
    assert run("spread", "stage=gain&play_v=20m", "--builds", "400", "--seed", "5")["fit"] != found["fit"]


@pytest.mark.parametrize("stage", ["direct", "follower", "gain"])
def test_every_stage_prints_plain_numbers(stage: str) -> None:
    found = run("spread", f"stage={stage}&play_v=100", "--builds", "100")
    assert found["builds"] == 100 and 0 <= found["fit"]["low"] <= found["fit"]["high"] <= 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["spread", "nonsense=1"], "nonsense"),
        (["spread", "", "--gain", "loud"], "gain, at least: 'loud' cannot be read"),
        (["spread", "", "--builds", "201"], "allowed is an even number from 100 to 50000"),
        (["spread", "", "--resistor-percent", "60"], "60 is out of range; allowed is 0 to 50 %"),
        (["drawer", "", "--measured", "J113"], "'J113' cannot be read; allowed is such as 1=J113:6.2m:-1.6"),
        (["drawer", "", "--measured", "1=:6m:-1"], "names no type"),
        (["drawer", "", "--measured", "1=J113:6:-1"], "I_DSS: '6' is out of range; allowed is 10 µA to 200 mA"),
        (["drawer", "", "--measured", "1=NONE:6m:-1"], "'NONE' is not known; allowed are"),
        (["drawer", "", "--resistors", "3m3"], "did you mean 3M3"),
    ],
)
def test_what_cannot_be_read_is_named_in_one_line(words: list[str], told: str) -> None:
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2 and done.stdout == ""
    assert told in done.stderr and len(done.stderr.splitlines()) == 1


def test_measured_transistors_are_read() -> None:
    assert measured_of(["a=j113:6.2m:-1.6", "b = J113:6m:1.6:10"]) == (
        DrawerTransistor("J113", 6.2e-3, -1.6, 9.0, "a"), DrawerTransistor("J113", 6e-3, -1.6, 10.0, "b"),
    )  # fmt: skip


def test_help_has_every_field_of_the_form() -> None:
    for command in COMMANDS:
        told = CliRunner().invoke(main, [command.name, "--help"]).output
        for field in FIELDS:
            assert f"--{field.name.replace('_', '-')} " in told or command.name == "spread" or field.tick


def test_prices_of_a_file_are_told_and_weighed(tmp_path) -> None:
    """The cheapest build is named so where it costs a fifth less than the others; a limit counts at the same prices."""
    mine = tmp_path / "mine.toml"
    mine.write_text('currency = "EUR"\n[price]\nresistor = 0.1\nfilm = 5.0\nelectrolytic = 0.2\ntransistor = 1.0\n')
    words = ["drawer", "pickup_c=1n&play_v=200m", "--resistors", "2k2 6k8 100k 2M2", "--capacitors", "100n 2u2 10u",
             "--transistors", "", "--measured", "1=J113:6m:-1.6", "--prices-file", str(mine)]  # fmt: skip
    found = run(*words)
    for build in found["builds"]:
        pieces = [(taken["goes"], value) for taken in build["takes"] for value in taken["values_si"]]
        by_hand = 1.0 + sum(
            0.1 if not goes.endswith("_c") else 5.0 if value <= 1e-6 else 0.2 for goes, value in pieces
        )
        assert build["figures"]["cost"] == pytest.approx(by_hand if pieces else 0.0)
    dear = run(*words, "--cost", "2")
    assert dear["builds"] and all(build["figures"]["cost"] <= 2 for build in dear["builds"])
    assert "cost" in run("spread", "stage=follower", "--builds", "100", "--prices-file", str(mine))["figures"]
    for prices, said in (("resistor = 1", "none of a film"), ("film = -1", "prices, film: -1")):
        mine.write_text(f'currency = "EUR"\n[price]\n{prices}')
        done = CliRunner().invoke(main, words)
        assert done.exit_code == 2 and said in done.stderr
        done = CliRunner().invoke(main, ["spread", "", "--prices-file", str(mine)])
        assert done.exit_code == 2 and said in done.stderr
