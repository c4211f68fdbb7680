"""A chain is one immutable value: changing makes a new one, equal chains are one and the same."""

import copy
import pickle
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab import catalogue
from piezolab.chain import ChainError, SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages import Stage, stage_named
from piezolab.chain.values import Values
from tests.chain.strategies import chains, values_of


def test_values_are_read_by_key_or_as_attributes() -> None:
    chain = SignalChain({"return": "tap"}, gate_r=1e6)
    assert chain["return"] == "tap" and chain.gate_r == chain["gate_r"] == 1e6
    assert chain.source_r == 3900
    with pytest.raises(KeyError):
        chain["gate"]
    with pytest.raises(AttributeError, match="no value 'gate'"):
        _ = chain.gate
    with pytest.raises(AttributeError):
        _ = chain._gate


def test_nothing_in_a_chain_can_be_changed() -> None:
    chain = SignalChain(gate_r=1e6)
    for attempt in (
        lambda: setattr(chain, "gate_r", 2e6),
        lambda: setattr(chain, "_entered", {}),
        lambda: setattr(chain, "new", 1),
        lambda: delattr(chain, "_entered"),
        lambda: setattr(chain.values, "gate_r", 2e6),
        lambda: delattr(chain.values, "_values"),
    ):
        with pytest.raises(AttributeError, match="use `but`"):
            attempt()
    with pytest.raises(TypeError):
        chain.entered["gate_r"] = 2e6
    chain.values.as_dict()["gate_r"] = 2e6
    assert isinstance(chain.entered, MappingProxyType)
    assert chain == SignalChain(gate_r=1e6) and chain.values.gate_r == 1e6


def test_a_mapping_given_is_not_held_on_to() -> None:
    given_, inputs = {"gate_r": 1e6, "input": ["pedal", "line"]}, ["pedal", "line"]
    chain = SignalChain({**given_, "input": inputs})
    inputs.append("amplifier")
    given_["gate_r"] = 5e6
    assert chain.input == ("pedal", "line") and chain.gate_r == 1e6
    hash(chain)


@given(chains())
def test_equal_hash_pickle_and_copy(chain: SignalChain) -> None:
    again = SignalChain(dict(chain.entered))
    assert again == chain and hash(again) == hash(chain) and {chain: 1}[again] == 1
    for made in (pickle.loads(pickle.dumps(chain)), copy.copy(chain), copy.deepcopy(chain), eval(repr_source(chain))):
        assert made == chain and hash(made) == hash(chain) and type(made) is SignalChain
    values = pickle.loads(pickle.dumps(chain.values))
    assert values.as_dict() == chain.values.as_dict()
    assert chain != SignalChain(stage="direct", gate_r=123e3, cable_m=77) and chain != "chain"


def repr_source(chain: SignalChain) -> str:
    """`return` is no name that Python takes as an argument; all else in the text of a chain is."""
    inside = ", ".join(f"{key!r}: {value!r}" for key, value in chain.entered.items())
    assert repr(chain) == "SignalChain(" + ", ".join(f"{k}={v!r}" for k, v in chain.entered.items()) + ")"
    return f"SignalChain({{{inside}}})"


@given(chains(), st.data())
def test_but_changes_one_key_and_none_takes_it_back(chain: SignalChain, data: st.DataObject) -> None:
    table = all_parameters()
    alone = [key for key in table if key not in ("jfet_ciss", "jfet_crss") and "input" not in key]
    key = data.draw(st.sampled_from(alone))
    value = data.draw(values_of(table[key]))
    before = dict(chain.entered)
    changed = chain.but({key: value})
    assert dict(chain.entered) == before  # the old chain stays as it was
    assert changed[key] == value
    assert all(changed[other] == chain[other] for other in before if other != key)
    back = changed.but({key: None})
    assert key not in back.entered
    assert back == chain.but({key: None})
    assert chain.but() == chain and chain.but({}) == chain


def test_none_of_what_was_never_entered_is_no_change() -> None:
    chain = SignalChain(gate_r=1e6)
    assert chain.but(cable_m=None, jfet_idss=None) == chain
    assert chain.but(gate_r=None) == SignalChain()
    assert chain.but({"gate_r": None}, cable_m=4) == SignalChain(cable_m=4)


def test_every_problem_is_listed_at_once() -> None:
    with pytest.raises(ChainError) as refusal:
        SignalChain(gate_r=1, cable_m=-1, cabel_m=3, input=("pedal", "line"), input_r=1e6)
    assert [problem.key for problem in refusal.value.problems] == ["cabel_m", "gate_r", "cable_m", "input_r"]
    assert str(refusal.value).count("\n") == 3
    assert "did you mean 'cable_m'?" in str(refusal.value)


def test_the_measured_transistor() -> None:
    assert not SignalChain().transistor_measured
    assert not SignalChain(jfet_idss=5e-3).transistor_measured
    assert not SignalChain(jfet_vgsoff=2).transistor_measured
    assert SignalChain(jfet_idss=5e-3, jfet_vgsoff=2).transistor_measured


def test_the_stage_of_a_chain() -> None:
    assert SignalChain().topology is stage_named("follower")
    assert isinstance(SignalChain(stage="gain").topology, Stage)
    assert not SignalChain(stage="direct").topology.powered


# -- resolved values ------------------------------------------------------------------------------------------------
@given(chains())
def test_every_key_is_resolved(chain: SignalChain) -> None:
    values = chain.values.as_dict()
    assert list(values)[:3] == ["tuning", "pickup_c", "pickup_r"]
    assert set(values) == set(all_parameters()) - {"v"}
    absent = {key for key, value in values.items() if value is None}
    assert absent <= {"resonance", "pad"}
    for key, value in chain.entered.items():
        assert values[key] == value


@pytest.mark.parametrize("name", catalogue.transistors())
def test_a_type_supplies_its_typical_values(name: str) -> None:
    kind, values = catalogue.transistors()[name], SignalChain(jfet=name).values
    assert values.jfet_idss == pytest.approx(kind.idss_typical, rel=1e-15)
    assert values.jfet_vgsoff == -kind.vgsoff_intercept_typical
    assert (values.jfet_vds, values.jfet_lambda) == (kind.idss_vds, kind.lambda_)
    assert (values.jfet_ciss, values.jfet_crss) == (kind.ciss, kind.crss)
    assert (values.jfet_ig, values.jfet_corner) == (kind.igss, kind.noise_corner)


def test_another_voltage_of_the_reading_does_not_make_another_part() -> None:
    """A reading's voltage without a reading: the typical part, as it would read there."""
    kind = catalogue.transistors()["J113"]
    values = SignalChain(jfet="J113", jfet_vds=3).values
    assert values.jfet_vds == 3
    assert values.jfet_idss == pytest.approx(kind.idss_typical * (1 + 3 * kind.lambda_) / (1 + 15 * kind.lambda_))


def test_two_inputs_in_parallel_count_as_one() -> None:
    kinds = catalogue.inputs()
    values = SignalChain(input=("interface", "pedal-vintage")).values
    one, two = kinds["interface"], kinds["pedal-vintage"]
    assert values.input_r == pytest.approx(one.r * two.r / (one.r + two.r), rel=1e-14)
    assert values.input_c == one.c + two.c
    assert values.input_max == min(one.max_v_peak, two.max_v_peak)
    assert values.input_noise == one.noise


def test_entered_values_come_before_those_of_the_kind() -> None:
    values = SignalChain(input="line", input_r=22e3, input_noise=0).values
    assert (values.input_r, values.input_noise) == (22e3, 0)
    assert values.input_c == catalogue.inputs()["line"].c


def test_a_batch_of_builds() -> None:
    values = SignalChain().values
    many = values.but(gate_r=np.array([1e6, 2e6]), **{"return": "tap"})
    assert many["return"] == "tap" and many.gate_r.shape == (2,) and values["return"] == "ground"
    with pytest.raises(KeyError, match="gate_q"):
        values.but(gate_q=1)
    with pytest.raises(AttributeError, match="gate_q"):
        _ = values.gate_q
    assert isinstance(many, Values)
