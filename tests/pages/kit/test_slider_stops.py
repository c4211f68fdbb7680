"""Where sliders stop."""

import numpy as np
import pytest

from piezolab.chain.joined import Several
from piezolab.chain.parameter import Picked, Quantity
from piezolab.chain.parameters import all_parameters
from piezolab.pages.kit.slider_stops import nearest_step, steps
from piezolab.quantity import nearest_preferred


def _quantities():
    for parameter in all_parameters().values():
        if isinstance(parameter, Several):
            yield from parameter.parts
        elif isinstance(parameter, Quantity) and not isinstance(parameter, Picked):
            yield parameter


QUANTITIES = list(_quantities())


@pytest.mark.parametrize("parameter", QUANTITIES, ids=lambda p: p.key)
def test_every_stop_is_allowed_and_reads_back(parameter):
    stops = steps(parameter)
    assert 30 <= len(stops) <= 200
    sizes = np.abs(stops) if parameter.negative else np.array(stops)
    assert np.all(np.diff(sizes) > 0)
    assert sizes[0] == parameter.low and sizes[-1] == parameter.high
    for value in stops:
        assert parameter.read(parameter.write(value)) == value


@pytest.mark.parametrize("parameter", QUANTITIES, ids=lambda p: p.key)
def test_the_nearest_stop_is_found(parameter):
    stops = steps(parameter)
    for n in range(0, len(stops), 7):
        assert nearest_step(parameter, stops[n]) == n


@pytest.mark.parametrize("key", ["gate_r", "source_r", "out_c", "pickup_c", "input_r"])
def test_parts_stop_at_preferred_numbers(key):
    inside = [value for value in steps(all_parameters()[key])[1:-1] if value > 0]
    assert np.allclose(inside, nearest_preferred(np.array(inside), "E24"), rtol=1e-12)


def test_a_slider_from_zero_has_zero_and_then_six_decades():
    stops = steps(all_parameters()["source_r"])
    assert stops[0] == 0 and stops[1] == 10.0 and stops[-1] == 10e6


def test_usual_cable_lengths_take_their_share_of_the_slider():
    stops = np.array(steps(all_parameters()["cable_m"]))
    assert np.mean(stops <= 12) > 0.3
    assert {3.0, 6.0, 10.0, 100.0} <= set(stops)
