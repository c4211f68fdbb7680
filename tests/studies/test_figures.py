"""The figures as other programs read them: which keys there are, with units in their names, and that they agree."""

import ast
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings

import piezolab
from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, to_query
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages import all_stages
from piezolab.chain.values import Values
from piezolab.studies import linear
from piezolab.studies.bias import bias, bias_population, spread
from piezolab.studies.figures import figures, plain
from piezolab.studies.kept import forget
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import loading
from piezolab.studies.output import impedances
from piezolab.studies.response import response
from tests.chain.strategies import chains

POINT = ("i_d_a", "v_gs_v", "v_s_v", "v_d_v", "v_ds_v", "g_m_s", "g_ds_s", "supply_current_a")
KEYS: dict[str, tuple[str, ...]] = {
    "loading": (
        "corner_hz", "plateau_db", "low_note_hz", "low_note_re_plateau_db", "low_note_re_open_db", "min_input_ohm_1db",
        "min_input_ohm_3db",
    ),
    "bias": (*POINT, "region", "gate", "spread"),
    "response": (
        "frequency_hz", "gain_db", "phase_deg", "midband_gain_db", "gain_1khz_db", "low_corner_hz", "high_corner_hz",
        "low_note_re_midband_db", "low_note_re_open_db",
    ),
}  # fmt: skip
IMPEDANCES = (
    "impedance_ohm", "resistance_ohm", "input_impedance_ohm", "input_resistance_ohm", "input_capacitance_f",
)  # fmt: skip
UNITS = ("_hz", "_db", "_ohm", "_ohm_1db", "_ohm_3db", "_a", "_v", "_s", "_f", "_deg")


@pytest.fixture(scope="module")
def default() -> dict[str, Any]:
    return figures(SignalChain())


def test_the_keys_are_those_agreed(default: dict[str, Any]) -> None:
    for group, keys in KEYS.items():
        assert set(default[group]) == set(keys), group
    assert set(IMPEDANCES) <= set(default["output"])
    assert set(default["chain"]) == {*all_parameters(), "link"}
    assert set(default["bias"]["spread"]) == set(POINT)


def test_units_stand_in_the_names(default: dict[str, Any]) -> None:
    for group in ("loading", "bias", "response", "output"):
        for key, value in default[group].items():
            if isinstance(value, float | int | list):
                assert key.endswith(UNITS), f"{group}.{key}"


def test_the_chain_as_understood() -> None:
    query = "discs=2p&resonance=4k,30,0.3&stage=gain&jfet_idss=3m&gate_r=1M&pad=10k,1k&input=pedal,line"
    found = figures(from_link(query))["chain"]
    assert found["link"] == query and found["v"] == 1
    assert (found["pickup_c"], found["gate_r"], found["jfet_idss"], found["jfet_vds"]) == (15e-9, 1e6, 3e-3, 9.0)
    assert found["resonance"] == [4000.0, 30.0, 0.3] and found["pad"] == [10e3, 1e3]
    assert found["input"] == ["pedal", "line"] and found["input_r"] == pytest.approx(1 / (1 / 1e6 + 1 / 10e3))
    again = SignalChain({key: value for key, value in found.items() if key in from_link(query).entered})
    assert to_query(again) == query


def test_every_value_is_that_of_its_study(default: dict[str, Any]) -> None:
    chain = SignalChain()
    one, point, curve, ends = loading(chain), bias(chain), response(chain), impedances(chain)
    for key in KEYS["loading"]:
        assert default["loading"][key] == getattr(one, key)
    for key in POINT:
        assert default["bias"][key] == float(getattr(point, key.rpartition("_")[0]))
    assert default["bias"]["spread"] == {
        f"{key}_{unit}": list(pair)
        for (key, pair), unit in zip(spread(bias_population(chain)).items(), "avvvvssa", strict=True)
    }
    assert (default["bias"]["region"], default["bias"]["gate"]) == ("saturation", "ok")
    answer = default["response"]
    assert answer["frequency_hz"] == list(curve.frequency) and len(answer["gain_db"]) == 400
    assert answer["gain_db"] == pytest.approx(list(20 * np.log10(np.abs(curve.gain))))
    assert answer["phase_deg"] == list(curve.phase_deg)
    assert answer["midband_gain_db"] == pytest.approx(20 * math.log10(curve.midband_gain))
    assert answer["gain_1khz_db"] == pytest.approx(20 * math.log10(curve.gain_1khz))
    assert answer["low_note_re_open_db"] == pytest.approx(20 * math.log10(curve.low_note_gain))
    assert (answer["low_corner_hz"], answer["high_corner_hz"]) == (curve.low_corner_hz, curve.high_corner_hz)
    out = default["output"]
    assert out["impedance_ohm"] == abs(ends.output) and out["resistance_ohm"] == ends.output.real
    assert out["input_impedance_ohm"] == abs(ends.input)
    assert out["input_resistance_ohm"] == pytest.approx(1 / (1 / ends.input).real)
    assert out["input_capacitance_f"] == pytest.approx((1 / ends.input).imag / (2000 * math.pi))


def test_at_given_frequencies(default: dict[str, Any]) -> None:
    chain = SignalChain(pickup_c=2e-9)
    asked = [1000.0, 20.0, 82.4, 20.0]
    found, whole = figures(chain, asked), figures(chain)
    assert found["response"]["frequency_hz"] == asked
    expected = np.abs(LinearChain.of(chain.values).gain(np.array(asked)))
    assert found["response"]["gain_db"] == pytest.approx(list(20 * np.log10(expected)))
    assert found["response"]["phase_deg"][1] == found["response"]["phase_deg"][3]
    for key in ("midband_gain_db", "low_corner_hz", "high_corner_hz", "gain_1khz_db"):
        assert found["response"][key] == whole["response"][key]
    # the phase is on the branch of the whole curve
    curve = np.interp(np.log(asked), np.log(whole["response"]["frequency_hz"]), whole["response"]["phase_deg"])
    assert found["response"]["phase_deg"] == pytest.approx(list(curve), abs=1.0)


def test_what_does_not_exist_is_null() -> None:
    direct = figures(SignalChain(stage="direct"))
    assert direct["bias"] is None and direct["response"]["high_corner_hz"] is None
    leaky = figures(SignalChain(pickup_c=1e-9, pickup_r=100e3))["loading"]
    assert leaky["min_input_ohm_1db"] is None and leaky["min_input_ohm_3db"] is None
    silent = figures(SignalChain(discs="2sx"))
    assert silent["loading"]["plateau_db"] is None
    assert silent["response"]["midband_gain_db"] is None and silent["response"]["low_corner_hz"] is None
    assert set(silent["response"]["gain_db"]) == {None}


@settings(max_examples=25)
@given(chains())
def test_any_chain_makes_strict_json(chain: SignalChain) -> None:
    text = json.dumps(figures(chain), allow_nan=False)
    assert json.loads(text)["chain"]["link"] == to_query(chain)


def test_plain() -> None:
    mixed = {"a": np.float64(1.5), "b": [np.inf, np.nan, 2], "c": (np.int64(3), None, "x"), "d": np.array([1, -np.inf])}
    assert plain(mixed) == {"a": 1.5, "b": [None, None, 2], "c": [3, None, "x"], "d": [1.0, None]}
    assert type(plain(mixed)["a"]) is float and type(plain(mixed)["c"][0]) is int


# -- every setting that anything reads has a key ----------------------------------------------------------------------
def settings_read(source: str) -> set[str]:
    """Names read from something called `values` or `chain`, as attributes or as keys."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute):
            of, name = node.value, node.attr
        elif isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
            of, name = node.value, str(node.slice.value)
        else:
            continue
        whose = of.id if isinstance(of, ast.Name) else of.attr if isinstance(of, ast.Attribute) else ""
        if whose in ("values", "chain"):
            found.add(name)
    return found


def test_names_read_from_a_chain_are_found() -> None:
    source = "chain.gate_r + self.values.pickup_c + values['return'] + f(chain)['x'] + chain.but(y=1).z"
    assert settings_read(source) == {"gate_r", "pickup_c", "return", "but"}


def test_every_setting_that_a_study_or_a_stage_reads_has_a_key() -> None:
    package = Path(piezolab.__file__).parent
    read: set[str] = set()
    for room in ("studies", "chain", "sheets"):
        for path in (package / room).rglob("*.py"):
            read |= settings_read(path.read_text("utf-8"))
    # an array or a mapping may be called `values` too
    own = {name for kind in (SignalChain, Values, np.ndarray, dict) for name in dir(kind)}
    assert read - own - set(all_parameters()) == set()
    assert len(read & set(all_parameters())) > 40


def test_every_setting_is_read_by_the_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seen while they are worked out, over chains of every kind: no setting is there for show."""
    seen: set[str] = set()

    class Watched(Values):
        def __getattr__(self, key: str) -> Any:
            seen.add(key)
            return super().__getattr__(key)

        def __getitem__(self, key: str) -> Any:
            seen.add(key)
            return super().__getitem__(key)

        def but(self, **changes: Any) -> Values:
            return Watched({**self.as_dict(), **changes})

    forget()  # what is kept is not read again
    monkeypatch.setattr(linear, "Values", Watched)
    for chain in (
        SignalChain({"return": "divider", "bypass_c": 1e-6, "bypass_part": 0.5, "resonance": (4e3, 20, 0.3)}),
        SignalChain(clamp="pair"),
        SignalChain({"return": "tap", "pad": (1e3, 1e4), "supply": "adapter", "discs": "2p", "loop_v": 0.1}),
        *(SignalChain(stage=key) for key in all_stages()),
    ):
        chain.__dict__["values"] = Watched(chain.values.as_dict())
        figures(chain)
    # words that a study asks the chain itself for, and the kind of input, which brings input_r and the like
    elsewhere = {"tuning", "v", "stage", "jfet", "supply", "input"}
    assert set(all_parameters()) - seen - elsewhere == set()
