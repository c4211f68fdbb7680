"""Random values of every setting, and random chains made of them."""

from typing import Any

import numpy as np
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.joined import Several, Tuning, Words
from piezolab.chain.parameter import Choice, Parameter, Picked, Quantity
from piezolab.chain.parameters import all_parameters
from piezolab.chain.signal_chain import checked_leniently
from piezolab.chain.stages import all_stages

NOTES = [f"{letter}{mark}{octave}" for octave in range(1, 8) for letter in "ABCDEFG" for mark in ("", "s", "f")]


#: Settings that came later, in the order in which they came: drawn apart, so that chains of a seed stay those that
#: they were.
LATER = (
    ("cable_hum_c", "clamp", "clamp_part"),
    ("follow_r", "second", "second_idss", "second_vds", "second_vgsoff", "steady_r"),
)
FIRST_STAGES = ("direct", "follower", "gain")


def sizes(low: float, high: float) -> st.SearchStrategy[float]:
    """Floats of a range: edges, anything, and round logarithmic steps."""
    return st.one_of(
        st.sampled_from([low, high]),
        st.floats(low, high, allow_subnormal=False),
        st.floats(0.0, 1.0).map(lambda share: float(np.clip(_between(low, high, share), low, high))),
    )


def _between(low: float, high: float, share: float) -> float:
    if low <= 0:
        return low + (high - low) * share**6
    return low * (high / low) ** share


def values_of(parameter: Parameter) -> st.SearchStrategy[Any]:
    """Values that a setting takes, in canonical form."""
    match parameter:
        case Picked():
            return st.sampled_from(parameter.picks)
        case Quantity():
            found = sizes(parameter.low, parameter.high)
            return found.map(lambda size: -size) if parameter.negative else found.map(lambda value: value + 0.0)
        case Several():
            return st.none() | st.tuples(*map(values_of, parameter.parts))
        case Words():
            return st.lists(st.sampled_from(list(parameter.choices)), min_size=1, max_size=2).map(tuple)
        case Choice():
            return st.sampled_from(list(parameter.choices))
        case Tuning():
            return st.lists(st.sampled_from(NOTES), min_size=1, max_size=12).map("-".join)
    raise TypeError(parameter)


@st.composite
def chains(draw: st.DrawFn, **fixed: Any) -> SignalChain:
    """Random chains in which any setting may be entered; what contradicts another is left out."""
    table = all_parameters()
    keys = draw(st.sets(st.sampled_from([key for key in table if key not in fixed and key != "v"]), max_size=12))
    entered = {key: draw(values_of(table[key])) for key in sorted(keys)}
    return checked_leniently({**entered, **fixed})[0]


def random_chain(rng: np.random.Generator, **fixed: Any) -> SignalChain:
    """As `chains`, from a generator of random numbers, for large samples: every number drawn, no edges wanted."""
    entered: dict[str, Any] = {}
    apart = rng.spawn(len(LATER))
    sources = {key: source for keys, source in zip(LATER, apart, strict=True) for key in keys}
    for key, parameter in all_parameters().items():
        source = sources.get(key, rng)
        if key in fixed or key == "v" or source.random() < 0.4:
            continue
        entered[key] = str(rng.choice(FIRST_STAGES)) if key == "stage" else random_value(source, parameter)
    if apart[1].random() < 0.2:
        entered["stage"] = str(apart[1].choice([key for key in all_stages() if key not in FIRST_STAGES]))
    return checked_leniently({**entered, **fixed})[0]


def random_value(rng: np.random.Generator, parameter: Parameter) -> Any:
    """One value that a setting takes."""
    match parameter:
        case Picked():
            return float(rng.choice(parameter.picks))
        case Quantity():
            if parameter.low == 0 and rng.random() < 0.1:
                return 0.0
            low = parameter.low or parameter.high * 1e-6
            share = rng.random()
            if parameter.linear or parameter.low < 0:
                value = parameter.low + (parameter.high - parameter.low) * share
            else:
                value = min(max(low * (parameter.high / low) ** share, parameter.low), parameter.high)
            return -value if parameter.negative else value
        case Several():
            return None if rng.random() < 0.5 else tuple(random_value(rng, part) for part in parameter.parts)
        case Words():
            return tuple(rng.choice(list(parameter.choices), size=rng.integers(1, 3)).tolist())
        case Choice():
            return str(rng.choice(list(parameter.choices)))
        case Tuning():
            return "-".join(rng.choice(NOTES, size=rng.integers(1, 13)).tolist())
    raise TypeError(parameter)
