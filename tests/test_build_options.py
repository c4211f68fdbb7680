"""The build's options: every one says the same of the same bad value, wherever it is given."""

import json
from dataclasses import fields

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.parameter import ParameterError
from piezolab.cli import main
from piezolab.pages.kit.form import Field
from piezolab.pages.kit.keepsake import SECTIONS, Keepsake
from piezolab.pages.kit.option_form import OptionForm, field_of
from piezolab.studies.board.layout import LayoutError, Options
from piezolab.studies.board_as_built import BoardAsBuilt, read_build
from piezolab.studies.build_options import FAULT_KEYS, OPTIONS, SHEET_KEYS, read_option, write_option
from piezolab.studies.metering.instrument import Meter

#: Key -> texts that are refused, and what the sentence has to show of each.
BAD = {
    "method": ["glue", "tape wire", ""],
    "board": ["x", "40", "2x9", "60x40x2", "60 cm x 4", "nanx5", "600x40"],
    "lane_width": ["wide", "0.1", "21", "5 cm", "5 %", "nan"],
    "base": ["stone", ""],
    "joints": ["glued", ""],
    "switch": ["no", "slide", ""],
    "diode": ["1N4148", "yes", ""],
    "pins": ["DDS", "D G", "base"],
    "meter_ohm": ["5", "much", "", "10 V", "2T"],
    "counts": ["19", "2000.5", "many", "", "20M"],
    "accuracy": ["30", "-1", "1 %%", ""],
    "digits": ["-1", "2.5", "101", "few", ""],
    "ohm_max": ["0", "5R", "", "2MM"],
    "test_v": ["0", "12", "1 ohm", ""],
    "low_v": ["1m", "230", "high", ""],
    "low_a": ["0", "1", "1 V", ""],
    "ac": ["maybe", ""],
    "beeps_below": ["0", "2k", "loud", ""],
    "tone_v": ["12", "1m", "1 ohm", ""],
    "currency": ["a very long word", "tab\there"],
    "led": ["purple"],
    "lead": ["three"],
    "lettering": ["huge"],
    "ink": ["blue"],
    "recorder": ["phone", "yes", ""],
}
GOOD = {
    "method": ["tape", "Breadboard", " wire "], "board": ["60x40", "60 × 40 mm", "40,5 mm X 30", ""],
    "lane_width": ["5", "5,5 mm", "6 MM", ""], "base": ["Wood"], "joints": ["holes"], "switch": ["ring"],
    "diode": ["none", "1n5817"],
    "pins": ["sgd", "S-G-D", "D S G", ""], "meter_ohm": ["1M", "10 Mohm"], "counts": ["1999", "20k"],
    "accuracy": ["0", "0.5", "2 %"], "ohm_max": ["2M"], "ac": ["no"], "beeps_below": ["30R"], "digits": ["0", "5"],
    "test_v": ["0.3", "650 mV"], "low_v": ["3", "2.8 V"], "low_a": ["1.2m", "0.4 mA"],
    "tone_v": ["250 mV"], "currency": ["CHF", "Kč", ""], "led": ["red"], "lead": ["two"], "lettering": ["large"],
    "ink": ["black"], "recorder": ["Interface"],
}  # fmt: skip


def form_of(keys: tuple[str, ...]) -> OptionForm:
    return OptionForm("", keys, keys, "use", lambda build: "taken", "")


def by_form(key: str, text: str) -> str:
    form = form_of(tuple(OPTIONS))
    assert not form.submit({key: text}) and set(form.wrong) == {key} and form.build == BoardAsBuilt()
    return form.wrong[key]


def by_command(command: str, key: str, text: str) -> str:
    result = CliRunner().invoke(main, [command, f"--{key.replace('_', '-')}={text}"])
    assert result.exit_code == 2 and not result.stdout
    [line] = result.stderr.splitlines()
    return line


def by_keepsake(key: str, text: str) -> str:
    keepsake = Keepsake()
    keepsake.send = lambda content, buffers=None: pytest.fail("nothing may be kept")
    keepsake.use("build", lambda value: pytest.fail("nothing may be used"))
    keepsake._heard(keepsake, {"word": "kept", "sections": {"build": json.dumps({key: text})}}, [])
    label = SECTIONS["build"].label
    assert keepsake.said.startswith(f"{label}: left out, since ")
    return keepsake.said.removeprefix(f"{label}: left out, since ")


@pytest.mark.parametrize(("key", "text"), [(key, text) for key, texts in BAD.items() for text in texts])
def test_the_same_bad_value_meets_the_same_sentence_everywhere(key: str, text: str) -> None:
    with pytest.raises(ParameterError) as refused:
        read_option(key, text)
    sentence = str(refused.value)
    # `parse` has questions of its own, and puts a full stop before the range
    assert sentence.startswith(OPTIONS[key].label) and "\n" not in sentence
    assert sentence.endswith(f"allowed is {OPTIONS[key].allowed}.") or f"Allowed is {OPTIONS[key].allowed}." in sentence
    assert by_keepsake(key, text) == sentence
    assert by_form(key, text) == sentence.replace(f" ({key}): ", ": ", 1)  # a field bears the label
    for command, keys in (("sheet", SHEET_KEYS), ("fault", FAULT_KEYS)):
        if key in keys:
            assert by_command(command, key, text) == sentence


def test_every_option_is_walked() -> None:
    assert set(BAD) == set(GOOD) == set(OPTIONS) == {each.name for each in fields(BoardAsBuilt)}
    assert set(SHEET_KEYS) | set(FAULT_KEYS) == set(OPTIONS)


@pytest.mark.parametrize(("key", "text"), [(key, text) for key, texts in GOOD.items() for text in texts])
def test_what_one_takes_all_take_and_give_back(key: str, text: str) -> None:
    form, kept = form_of(tuple(OPTIONS)), SECTIONS["build"].check({key: text})
    assert form.submit({key: text}), form.wrong
    build, problems = read_build({key: text})
    assert problems == {} and form.build == build and read_build(kept) == (build, {})
    assert read_option(key, write_option(key, build.values[key])) == build.values[key]
    again = form_of(tuple(OPTIONS))
    again.show(build)
    assert again.submit({}) and again.build == build


def test_a_field_reads_what_people_type() -> None:
    form = form_of(("meter_ohm", "ohm_max"))
    assert form.submit({"meter_ohm": "10 meg", "ohm_max": "2 megohms"}), form.wrong
    assert (form.build.meter_ohm, form.build.ohm_max) == (10e6, 2e6)
    assert read_build(form.build.texts) == (form.build, {}), "what is kept is in the strict form"
    assert set(read_build({"meter_ohm": "10 meg"})[1]) == {"meter_ohm"}


def test_an_unknown_option_is_named() -> None:
    _, problems = read_build({"colour": "red"})
    assert problems["colour"].startswith("option: 'colour' is not known; allowed is method, board,")
    assert problems["colour"] == by_keepsake("colour", "red")
    for command in ("sheet", "fault"):
        result = CliRunner().invoke(main, [command, "--colour", "red"])
        assert result.exit_code == 2 and "--colour" in result.stderr
    result = CliRunner().invoke(main, ["sheet", "--tone-v", "1"])
    assert result.exit_code == 2 and "--tone-v" in result.stderr, "a sheet does not read it"
    _, problems = read_build({"tone_v": "1"}, keys=SHEET_KEYS)
    assert "'tone_v' is not known" in problems["tone_v"]


def test_fields_carry_what_the_table_says() -> None:
    for key, option in OPTIONS.items():
        field = field_of(option, more=False)
        assert isinstance(field, Field) and (field.name, field.label) == (key, option.label)
        assert read_option(key, field.value) == option.default
        words = [word for word, _ in field.options]
        assert [word for word in words if word] == list(getattr(option, "choices", ()))
        assert ("" in words) == (bool(words) and option.default is None), "a choice may be left open where it can be"


def test_the_commands_explain_every_option_and_its_default() -> None:
    for command, keys in (("sheet", SHEET_KEYS), ("fault", FAULT_KEYS)):
        told = " ".join(CliRunner().invoke(main, [command, "--help"]).output.split())
        for key in keys:
            assert f"--{key.replace('_', '-')} " in told and OPTIONS[key].allowed in told
        assert "--no-ac" in told


def test_one_word_for_no() -> None:
    def build(*words: str) -> dict:
        result = CliRunner().invoke(main, ["sheet", "stage=direct", "--json", *words])
        assert result.exit_code == 0, result.output
        return json.loads(result.stdout)["build"]

    assert build("--no-diode", "--no-ac") == build("--diode", "none", "--ac", "no") != build()
    assert build("--diode", "--ac") == build()
    result = CliRunner().invoke(main, ["sheet", "--no-diode", "--diode", "1N5817"])
    assert result.exit_code == 2 and "contradict" in result.stderr


def test_a_browsers_older_names_are_read() -> None:
    """As the page wrote them before it had the table: every field, empty ones too."""
    older = {
        "method": "wire", "meter_r": "1M", "counts": "4000", "currency": "GBP", "switch": "ring", "schottky": "no",
        "pins": "", "width": "60", "height": "40.5", "percent": "0.8", "beeps": "30", "ac": "no",
    }  # fmt: skip
    kept = SECTIONS["build"].check(older)
    assert read_build(kept)[0] == BoardAsBuilt(
        method="wire", meter_ohm=1e6, counts=4000, currency="GBP", switch="ring", diode="none", board=(60, 40.5),
        accuracy=0.008, beeps_below=30, ac="no",
    )  # fmt: skip
    usual = {"meter_r": "10M", "schottky": "yes", "width": "", "height": "", "percent": "1", "beeps": "50", "pins": ""}
    assert SECTIONS["build"].check(usual) == {}


def test_what_is_made_of_a_build() -> None:
    meter = {"meter_ohm": 1e6, "counts": 4000, "accuracy": 0.005, "ohm_max": 2e6}
    meter |= {"digits": 5, "test_v": 0.3, "low_v": 3.0, "low_a": 0.5e-3}
    build = BoardAsBuilt(method="tape", lane_width=6, pins="sgd", **meter)
    assert build.meter == Meter(input_ohm=1e6, **{key: value for key, value in meter.items() if key != "meter_ohm"})
    assert not BoardAsBuilt(ac="no").meter.reads_ac
    assert build.layout(SignalChain()) == Options("tape", None, 6, pins="S G D")
    assert BoardAsBuilt().meter == Meter() and BoardAsBuilt().guarded and not BoardAsBuilt(diode="none").guarded
    assert BoardAsBuilt(recorder="interface").records and not BoardAsBuilt().records
    assert BoardAsBuilt(switch="ring").ring and not BoardAsBuilt().ring


@pytest.mark.parametrize(
    ("key", "value"),
    [("accuracy", 0.3), ("counts", 12.5), ("board", (60,)), ("board", ("60", 40)), ("pins", 7), ("method", None),
     ("lane_width", float("nan")), ("meter_ohm", True), ("currency", "")],
)  # fmt: skip
def test_a_value_out_of_range_makes_no_build(key: str, value: object) -> None:
    with pytest.raises(ParameterError, match="allowed is"):
        BoardAsBuilt(**{key: value})


def test_meter_and_layout_have_no_ranges_of_their_own() -> None:
    for key, field in (("meter_ohm", "input_ohm"), ("counts", "counts"), ("accuracy", "accuracy"), ("ohm_max",) * 2,
                       ("digits",) * 2, ("test_v",) * 2, ("low_v",) * 2, ("low_a",) * 2):
        low, high = OPTIONS[key].low, OPTIONS[key].high
        Meter(**{field: type(OPTIONS[key].default)(low)}), Meter(**{field: type(OPTIONS[key].default)(high)})
        with pytest.raises(ParameterError):
            Meter(**{field: high * 1.01})
    for key in ("lane_width", "board"):
        option = OPTIONS[key]
        beyond = option.high * 1.01
        with pytest.raises(LayoutError) as refused:
            Options(**{key: beyond if key == "lane_width" else (beyond, 40)})
        assert option.allowed in str(refused.value)


@given(st.text(max_size=60), st.sampled_from(sorted(OPTIONS)))
def test_any_text_is_taken_or_refused_in_one_sentence(text: str, key: str) -> None:
    build, problems = read_build({key: text})
    if problems:
        assert build == BoardAsBuilt() and "llowed is" in problems[key] and problems[key].isprintable()
    else:
        assert read_build(build.texts) == (build, {})
