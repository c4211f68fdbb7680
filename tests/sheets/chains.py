"""Random chains: any key of the table may be entered, anywhere in its range."""

from __future__ import annotations

import math

from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.joined import Several, Words
from piezolab.chain.parameter import Choice, Parameter, Picked, Quantity
from piezolab.chain.parameters import all_parameters
from piezolab.chain.signal_chain import checked_leniently


def _number(parameter: Quantity) -> st.SearchStrategy[float]:
    low, high = parameter.low, parameter.high
    if parameter.linear:
        return st.floats(low, high)
    least = low or high * 1e-6
    inside = st.floats(math.log(least), math.log(high)).map(lambda x: min(max(math.exp(x), least), high))
    return inside if low else st.one_of(st.just(0.0), inside)


def value_of(parameter: Parameter) -> st.SearchStrategy:
    """Values that a parameter takes."""
    match parameter:
        case Picked():
            return st.sampled_from(parameter.picks)
        case Quantity():
            return _number(parameter)
        case Several():
            return st.none() | st.tuples(*(_number(part) for part in parameter.parts))
        case Words():
            word = st.sampled_from(list(parameter.choices))
            return st.lists(word, min_size=1, max_size=2, unique=True).map(tuple)
        case Choice():
            return st.sampled_from(list(parameter.choices))
    return st.just(parameter.default)


@st.composite
def chains(draw: st.DrawFn) -> SignalChain:
    """A chain with about half of its keys entered; contradicting ones keep their defaults."""
    table = all_parameters()
    entered = draw(st.sets(st.sampled_from([key for key in table if key != "v"])))
    return checked_leniently({key: draw(value_of(table[key])) for key in table if key in entered | {"stage"}})[0]
