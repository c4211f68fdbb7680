"""The diagnosis as numbers, and its command."""

import json

import pytest
from click.testing import CliRunner

from piezolab.chain import SignalChain
from piezolab.cli import main
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults.diagnosis import diagnose
from piezolab.studies.faults.drawn_board import table_of
from piezolab.studies.faults.fault_figures import fault_figures, read_readings
from piezolab.studies.faults.readings import Reading, ReadingError


def test_the_figures_are_those_of_the_diagnosis() -> None:
    readings = read_readings(["ohm:clip=OL", "ohm:source=3k9"])
    assert readings == (Reading("ohm", "clip", float("inf")), Reading("ohm", "source", 3900.0))
    found, figures = diagnose(table_of(SignalChain(), BoardAsBuilt()), readings, ("dead",)), fault_figures(
        SignalChain(), readings, ("dead",)
    )
    assert [place["place"] for place in figures["places"]] == [spot.spot for spot in found.spots]
    assert sum(place["probability"] for place in figures["places"]) == pytest.approx(1)
    assert figures["next"]["reading"] == found.next.check.key
    assert figures["next"]["reason"] in ("spot", "short", "second", "again")
    assert "open:C_sup" in figures["faults_no_reading_shows"]
    json.dumps(figures, allow_nan=False)


def test_decimals_tell_the_display() -> None:
    texts = ["dc:source=1.20", "dc:source=9", "dc:source=-0.5", "dc:jack=12m"]
    digits = [reading.digit for reading in read_readings(texts)]
    assert digits[:3] == pytest.approx([0.01, 1.0, 0.1]) and digits[3] is None


def test_the_command_prints_them_and_refuses_with_a_sentence() -> None:
    good = CliRunner().invoke(main, ["fault", "", "--reading", "ohm:clip=OL", "--heard", "dead"])
    assert good.exit_code == 0
    assert json.loads(good.output)["unpowered_only"] in (True, False)
    for arguments, words in (
        (["fault", "x=1"], "not a key"),
        (["fault", "--reading", "volts=3"], "allowed is kind:place=value"),
        (["fault", "--reading", "ohm:moon=3"], "allowed is"),
        (["fault", "--reading", "dc:source=3 ohm"], "reading dc source"),
        (["fault", "--heard", "purple"], "not known"),
        (["fault", "--meter-ohm", "3"], "meter's resistance, DC volts (meter_ohm): '3' is out of range"),
        (["fault", "--ohm-max", "much"], "largest resistance the meter shows (ohm_max): 'much'"),
    ):
        bad = CliRunner().invoke(main, arguments)
        assert bad.exit_code == 2 and words in bad.output, bad.output


def test_the_command_takes_the_meter_and_says_what_can_be_read() -> None:
    arguments = ["fault", "--reading", "ohm:clip=4k0", "--reading", "ohm:pickup=OL"]

    def run(*more: str) -> dict:
        return json.loads(CliRunner().invoke(main, [*arguments, *more]).output)

    usual, cheap = run(), run("--ohm-max", "2M", "--meter-ohm", "1M", "--no-ac")

    def gate(figures: dict) -> float:
        return next(place["probability"] for place in figures["places"] if place["place"] == "part:R_G")

    assert gate(usual) > 5 * gate(cheap), "4.7 megohm is over range for a meter that stops at 2"
    proposed = [step["reading"].split(":")[0] for step in (cheap["next"], *cheap["others"])]
    assert proposed and not {"low", "high"} & set(proposed)
    assert {"ohm:clip", "dc:jack", "low:pickup", "tone:input"} <= set(usual["readings_to_take"])
    assert not usual["stop"] and isinstance(usual["found"], bool)


@pytest.mark.parametrize("text", ["dc:clip=900", "dc:supply=-230", "high:jack=230"])
def test_volts_that_this_board_cannot_have_are_asked_about(text: str) -> None:
    check, _, value = text.partition("=")
    with pytest.raises(ReadingError, match=f"{check.replace(':', ' ')}: {value} V is more than .*plausible is -.* V"):
        fault_figures(SignalChain(), read_readings([text]))


def test_hot_stops_at_once() -> None:
    assert fault_figures(SignalChain(), (), ("hot",))["stop"]
    with pytest.raises(ReadingError):
        read_readings(["dc:source"])
