"""Thermal noise of resistors against values that handbooks print.

From memory: P. Horowitz and W. Hill, "The Art of Electronics" (chapter on low-noise design): 4kT = 1.62e-20 V^2/(Hz
ohm) at room temperature, taken there as 20 degC; a resistance R makes 1.27e-4 uV/sqrt(Hz) times sqrt(R/ohm); 10 kohm
makes 1.3 uV in 10 kHz. C. D. Motchenbacher and J. A. Connelly, "Low-Noise Electronic System Design": 1 kohm makes
4 nV/sqrt(Hz) at 290 K and 50 ohm about 0.9 nV/sqrt(Hz). Boltzmann's constant: SI brochure, 9th edition.
"""

import numpy as np
import pytest

from piezolab.circuit.elements import GROUND, Resistor
from piezolab.circuit.jfet import BOLTZMANN, ELEMENTARY_CHARGE
from piezolab.circuit.network import Network
from piezolab.circuit.noise import noise
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.weighting import band_grid, band_power


def _density(ohm: float, temp_c: float, frequency: object = 1e3) -> np.ndarray:
    network = Network([Resistor("R", "a", GROUND, ohm)])
    return noise(network, operating_point(network), frequency, "a", temp_c=temp_c).total


@pytest.mark.parametrize(
    "ohm, temp_c, printed, digit",
    [
        (1.0, 20.0, 1.27e-10, 0.005e-10),
        (1e3, 16.85, 4.0e-9, 0.05e-9),
        (50.0, 16.85, 0.9e-9, 0.05e-9),
    ],
)
def test_voltage_density(ohm: float, temp_c: float, printed: float, digit: float) -> None:
    assert abs(np.sqrt(_density(ohm, temp_c)) - printed) <= digit


def test_four_kt() -> None:
    assert abs(_density(1.0, 20.0) - 1.62e-20) <= 0.005e-20


def test_ten_kilohm_in_ten_kilohertz() -> None:
    grid = band_grid(201, 10.0, 10_010.0)
    volts = np.sqrt(band_power(grid, _density(1e4, 20.0, grid)))
    assert abs(volts - 1.3e-6) <= 0.05e-6


def test_constants_of_the_si() -> None:
    assert (BOLTZMANN, ELEMENTARY_CHARGE) == (1.380649e-23, 1.602176634e-19)
