"""The settings of a chain: their frozen defaults and ranges, their texts, and how a bad value is refused."""

import math
import pickle
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab import catalogue
from piezolab.chain import ChainError, SignalChain
from piezolab.chain.joined import Several
from piezolab.chain.parameter import ParameterError, Picked, Quantity
from piezolab.chain.parameters import GROUPS, all_parameters
from piezolab.chain.stages import all_stages
from piezolab.quantity import letter_code
from tests.chain.strategies import values_of

DISCS = "1, 2p, 2s, 2px or 2sx"
# Link format 1 is frozen: key, default as a follower's chain has it, what is allowed. None: comes from elsewhere.
FORMAT_1 = [
    ("v", 1, "1"),
    ("tuning", "D3-A3-D4", "1 to 12 notes from A0 to C8, such as D3-A3-D4"),
    ("pickup_c", 15e-9, "50 pF to 500 nF"),
    ("pickup_r", 1e9, "10 kΩ to 100 GΩ"),
    ("pickup_loss", 0.02, "0 to 0.2"),
    ("discs", "1", DISCS),
    (
        "resonance",
        None,
        "none, or resonance frequency from 500 Hz to 50 kHz, resonance Q from 1 to 500, resonance k from 0.01 to 1",
    ),
    ("play_v", 1.0, "1 mV to 100 V"),
    ("lead_m", 0.3, "0 m to 20 m"),
    ("lead_c", 100e-12, "10 pF/m to 1 nF/m"),
    ("stage", "follower", None),
    ("jfet", "J113", None),
    ("jfet_idss", None, "10 µA to 200 mA"),
    ("jfet_vds", None, "0 V to 40 V"),
    ("jfet_vgsoff", None, "100 mV to 15 V, either sign"),
    ("jfet_lambda", None, "0 /V to 0.2 /V"),
    ("jfet_ciss", None, "0.1 pF to 200 pF"),
    ("jfet_crss", None, "0 F to 100 pF"),
    ("jfet_ig", None, "0 A to 1 µA"),
    ("jfet_corner", None, "0 Hz to 100 kHz"),
    ("gate_r", 4.7e6, "1 kΩ to 1 GΩ"),
    ("return", "ground", "ground, tap or divider"),
    ("return_part", 0.5, "0.05 to 0.95"),
    ("divider_r", 2e6, "100 Ω to 100 MΩ"),
    ("divider_c", 1e-6, "0 F to 1 mF"),
    ("source_r", 3.9e3, "0 Ω to 10 MΩ"),
    ("gate_stop", 0.0, "0 Ω to 100 kΩ"),
    ("drain_r", 0.0, "0 Ω to 10 MΩ"),
    ("bypass_c", 0.0, "0 F to 10 mF"),
    ("bypass_part", 1.0, "0.05 to 1"),
    ("out_c", 2.2e-6, "1 nF to 1 mF"),
    ("bleed_r", 100e3, "1 kΩ to 100 MΩ"),
    ("follow_r", 10e3, "10 Ω to 1 MΩ"),
    ("second", "J113", None),
    ("second_idss", None, "10 µA to 200 mA"),
    ("second_vds", None, "0 V to 40 V"),
    ("second_vgsoff", None, "100 mV to 15 V, either sign"),
    ("steady_r", 1.8e3, "10 Ω to 100 kΩ"),
    ("clamp", "none", None),
    ("clamp_part", "transistor-pair", None),
    ("supply", "alkaline-9v", None),
    ("supply_v", 9.0, "1 V to 30 V"),
    ("supply_r", 0.0, "0 Ω to 100 kΩ"),
    ("supply_c", 10e-6, "0 F to 10 mF"),
    ("other_current", 0.0, "0 A to 1 A"),
    ("ripple_v", 10e-3, "0 V to 1 V"),
    ("cable_m", 3.0, "0 m to 100 m"),
    ("cable_c", 100e-12, "10 pF/m to 1 nF/m"),
    ("pad", None, "none, or pad series resistor from 1 Ω to 10 MΩ, pad shunt resistor from 1 Ω to 10 MΩ"),
    ("input", ("amplifier",), None),
    ("input_r", None, "100 Ω to 1 GΩ"),
    ("input_c", None, "0 F to 100 nF"),
    ("input_max", None, "1 mV to 100 V"),
    ("input_noise", None, "0 V/√Hz to 1 µV/√Hz"),
    ("hum_c", 0.5e-12, "0 F to 100 pF"),
    ("shield_db", 0.0, "0 dB to 120 dB"),
    ("cable_hum_c", 0.0, "0 F to 100 pF"),
    ("mains_hz", 50.0, "50 Hz or 60 Hz"),
    ("mains_v", 230.0, "100 V, 110 V, 120 V, 127 V, 220 V, 230 V or 240 V"),
    ("loop_v", 0.0, "0 V to 1 V"),
    ("temp_c", 25.0, "−20 °C to 60 °C"),
]
# What else a key means while nothing is entered, by stage; frozen too.
OF_STAGE: dict[str, dict[str, Any]] = {
    "direct": {},
    "follower": {},
    "gain": {"source_r": 1.5e3, "drain_r": 6.8e3, "bypass_c": 22e-6},
    "steady": {},
    "driven": {"source_r": 1.5e3, "drain_r": 6.8e3, "bypass_c": 22e-6},
}
TABLE = all_parameters()
QUANTITIES = [p for p in TABLE.values() if isinstance(p, Quantity) and not isinstance(p, Picked)]
PARTS = [part for p in TABLE.values() if isinstance(p, Several) for part in p.parts]


def test_keys_and_their_order_are_those_of_format_1() -> None:
    frozen = [key for key, _, _ in FORMAT_1]
    rows = [f"({key!r}, {p.default!r}, {p.allowed!r})," for key, p in TABLE.items() if key not in frozen]
    assert list(TABLE) == frozen, f"new keys go into FORMAT_1 after bleed_r, by name, and are frozen then: {rows}"


@pytest.mark.parametrize("key, default, allowed", FORMAT_1)
def test_default_and_range_are_those_of_format_1(key: str, default: Any, allowed: str | None) -> None:
    assert SignalChain()[key] == default
    if allowed is not None:
        assert TABLE[key].allowed == allowed


def test_each_stage_has_the_common_defaults_but_for_its_own() -> None:
    rows = [f"{key!r}: {dict(stage.defaults)!r}," for key, stage in all_stages().items() if key not in OF_STAGE]
    assert set(OF_STAGE) == set(all_stages()), f"a new stage's defaults go into OF_STAGE, frozen from then on: {rows}"
    expected = {key: default for key, default, _ in FORMAT_1}
    for stage, own in OF_STAGE.items():
        chain = SignalChain(stage=stage)
        assert {key: chain[key] for key in TABLE} == {**expected, **own, "stage": stage}


def test_choices_that_come_from_elsewhere() -> None:
    assert dict(TABLE["stage"].choices) == {key: stage.title for key, stage in all_stages().items()}
    assert list(TABLE["jfet"].choices) == list(TABLE["second"].choices) == list(catalogue.transistors())
    assert list(TABLE["input"].choices) == list(catalogue.inputs())
    assert list(TABLE["supply"].choices) == [*catalogue.batteries(), "adapter"]


def test_each_has_a_label_a_group_and_a_hint_in_plain_words() -> None:
    labels = [parameter.label for parameter in TABLE.values()]
    assert len(set(labels)) == len(labels)
    for parameter in TABLE.values():
        assert parameter.group in GROUPS or parameter.key == "v"
        if parameter.key != "v":
            assert parameter.hint.endswith(".") and parameter.hint[0].isupper(), parameter.key
            assert len(parameter.hint) < 90


# -- numbers ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("parameter", [*QUANTITIES, *PARTS], ids=lambda p: p.label)
def test_the_edges_are_taken_and_what_lies_beyond_is_refused(parameter: Quantity) -> None:
    def kept(value: float) -> float:
        return -value if parameter.negative else value

    for edge in (parameter.low, parameter.high):
        assert parameter.check(edge) == kept(edge)
        assert parameter.read(letter_code(edge, parameter.unit)) == kept(edge)
        if parameter.negative:
            assert parameter.check(-edge) == kept(edge)
    beyond = [math.nextafter(parameter.high, math.inf), 10 * parameter.high]
    below = math.nextafter(parameter.low, -math.inf)
    beyond += [below, 0.0] if parameter.negative else [below, parameter.low - abs(parameter.high)]
    for value in beyond:
        with pytest.raises(ParameterError) as refusal:
            parameter.check(value)
        assert str(refusal.value).startswith(f"{parameter.named}: '")
        assert str(refusal.value).endswith(f"' is out of range; allowed is {parameter.allowed}.")


@pytest.mark.parametrize(
    "key, value, sentence",
    [
        ("gate_r", 5.0, "gate resistor (gate_r): '5 Ω' is out of range; allowed is 1 kΩ to 1 GΩ."),
        # shown with as many digits as tell it from the limit
        ("gate_r", 999.9999, "gate resistor (gate_r): '999.9999 Ω' is out of range; allowed is 1 kΩ to 1 GΩ."),
        ("jfet_idss", 0.3, "I_DSS (jfet_idss): '300 mA' is out of range; allowed is 10 µA to 200 mA."),
        ("jfet_vgsoff", 0.0, "V_GS(off) (jfet_vgsoff): '0 V' is out of range; allowed is 100 mV to 15 V, either sign."),
        ("v", 2, "link format (v): '2' is not in the list; allowed is 1."),
        ("mains_hz", 55, "mains frequency (mains_hz): '55 Hz' is not in the list; allowed is 50 Hz or 60 Hz."),
        ("temp_c", -40, "temperature (temp_c): '−40 °C' is out of range; allowed is −20 °C to 60 °C."),
        ("discs", "3", "discs: '3' is not known; allowed is 1, 2p, 2s, 2px or 2sx."),
        ("resonance", (1e3, 0.5, 0.1), "resonance Q (resonance): '0.5' is out of range; allowed is 1 to 500."),
        ("gate_r", None, "gate resistor (gate_r): 'None' is not a finite number; allowed is 1 kΩ to 1 GΩ."),
        ("gate_r", math.nan, "gate resistor (gate_r): 'nan' is not a finite number; allowed is 1 kΩ to 1 GΩ."),
    ],
)
def test_refusals_name_label_key_value_and_range(key: str, value: Any, sentence: str) -> None:
    with pytest.raises(ChainError) as refusal:
        SignalChain({key: value})
    assert [problem.sentence for problem in refusal.value.problems] == [sentence]
    assert [problem.key for problem in refusal.value.problems] == [key]


@pytest.mark.parametrize(
    "key, text, sentence",
    [
        (
            "gate_r",
            "3m3",
            "gate resistor (gate_r): '3m3' would be milliohms; did you mean 3M3? Allowed is 1 kΩ to 1 GΩ.",
        ),
        ("gate_r", "999.9999", "gate resistor (gate_r): '999.9999' is out of range; allowed is 1 kΩ to 1 GΩ."),
        (
            "gate_r",
            "",
            "gate resistor (gate_r): '' is empty; write for example 4M7, 560R or 3.3 kohm; allowed is 1 kΩ to 1 GΩ.",
        ),
        ("v", "2", "link format (v): '2' is not in the list; allowed is 1."),
        ("stage", "valve", f"stage: 'valve' is not known; allowed is {TABLE['stage'].allowed}."),
        (
            "pad",
            "10k",
            "pad: '10k' is not 2 values joined by commas; allowed is none, or pad series resistor from 1 Ω to 10 MΩ, "
            "pad shunt resistor from 1 Ω to 10 MΩ.",
        ),
        ("pad", "10k,0.5R", "pad shunt resistor (pad): '0.5R' is out of range; allowed is 1 Ω to 10 MΩ."),
        (
            "tuning",
            "H3",
            "strings (tuning): 'H3' is not a note; write a letter A to G, s (sharp) or f (flat), and an octave, such "
            "as Fs3, from A0 to C8; allowed is 1 to 12 notes from A0 to C8, such as D3-A3-D4.",
        ),
    ],
)
def test_refused_texts_are_quoted_as_they_were_written(key: str, text: str, sentence: str) -> None:
    with pytest.raises(ParameterError) as refusal:
        TABLE[key].read(text)
    assert str(refusal.value) == sentence


class Unshowable:
    def __repr__(self) -> str:
        raise RuntimeError("no text for this")


ODD = [
    None, True, False, "", "nan", "1e999", b"5k", [], {}, (), set(), object(), Unshowable(), math.nan, math.inf,
    -math.inf, 10**400, 10**5000, -(10**400), 1j, Decimal("5000"), np.array([1.0, 2.0]), np.array(5e3), np.bool_(True),
    (1, 2, 3), ("a", "b", "c"), [None], (Unshowable(), 1), (Unshowable(), 1, 10**5000), "x" * 10_000, "\ud800",
    "a\nb\x00<b>", lambda: 0, float, ["amplifier", 3], np.nan, np.float64(np.inf), ("amplifier",) * 3,
]  # fmt: skip


@pytest.mark.parametrize("key", TABLE)
def test_odd_values_are_refused_with_a_sentence_and_never_otherwise(key: str) -> None:
    refused = 0
    for odd in ODD:
        try:
            TABLE[key].check(odd)
        except ParameterError as error:
            refused += 1
            assert str(error).startswith(TABLE[key].named) or key in ("pad", "resonance", "tuning")
            assert str(error).isprintable() and str(error).endswith("."), str(error)
            assert len(str(error)) < 700
    assert refused >= len(ODD) - 2  # None is "no pad", and "1 disc" needs no more


@given(st.data())
def test_any_text_is_read_or_refused_with_one_printable_sentence(data: st.DataObject) -> None:
    parameter = TABLE[data.draw(st.sampled_from(list(TABLE)))]
    text = data.draw(st.text(max_size=60) | st.text("0123456789.,eE+-kKmMuµnpGTRΩohmFVAHz \n\x00\u202e", max_size=20))
    try:
        value = parameter.read(text)
    except ParameterError as error:
        assert str(error).isprintable() and "llowed is" in str(error)
    else:
        assert parameter.check(value) == value


@pytest.mark.parametrize(
    "number", [5000, 5000.0, np.float32(5000), np.float64(5000), np.int64(5000), np.uint16(5000), Fraction(5000)]
)
def test_numbers_of_any_library_are_taken_as_floats(number: Any) -> None:
    chain = SignalChain(gate_r=number)
    assert chain.gate_r == 5000.0 and type(chain.gate_r) is float


def test_no_negative_zero_and_the_sign_of_a_cut_off_voltage() -> None:
    assert math.copysign(1, TABLE["source_r"].check(-0.0)) == 1
    assert SignalChain(jfet_vgsoff=2.5) == SignalChain(jfet_vgsoff=-2.5)
    assert SignalChain(jfet_vgsoff=2.5).jfet_vgsoff == -2.5


@given(st.data())
def test_what_is_written_is_read_back_exactly(data: st.DataObject) -> None:
    parameter = TABLE[data.draw(st.sampled_from(list(TABLE)))]
    value = data.draw(values_of(parameter))
    assert parameter.check(value) == value
    text = parameter.write(value)
    assert parameter.read(text) == value
    assert parameter.write(parameter.read(text)) == text
    assert text.isascii() and len(text) <= 120
    assert parameter.show(value).isprintable()


# -- words --------------------------------------------------------------------------------------------------------
def test_words_are_read_in_any_case_and_kept_in_their_own() -> None:
    assert TABLE["stage"].read(" Follower ") == "follower"
    assert TABLE["jfet"].read("j113") == "J113"
    assert TABLE["input"].read("Pedal, INTERFACE") == ("pedal", "interface")
    assert TABLE["tuning"].read("d3 a#3 b♭2") == "D3-As3-Bf2"
    assert TABLE["pad"].read("None") is None


def test_order_of_two_inputs_is_kept() -> None:
    assert TABLE["input"].read("pedal,interface") != TABLE["input"].read("interface,pedal")


def test_makers_ways_of_writing() -> None:
    """Letter codes of IEC 60062, SI forms, both signs for micro and ohm; see also the tests of quantities."""
    for text in ("3M3", "3.3M", "3.3 Mohm", "3,3 MΩ", "3300K", "3.3e6", "3300000"):
        assert TABLE["gate_r"].read(text) == 3.3e6
    for text in ("2u2", "2.2u", "2.2 µF", "2.2 μF", "2.2uF", "2200n", "2.2e-6"):
        assert TABLE["out_c"].read(text) == 2.2e-6


def test_errors_of_a_chain_can_be_sent_to_another_process() -> None:
    with pytest.raises(ChainError) as refusal:
        SignalChain(gate_r=5, foo=1)
    again = pickle.loads(pickle.dumps(refusal.value))
    assert again.problems == refusal.value.problems and str(again) == str(refusal.value)
