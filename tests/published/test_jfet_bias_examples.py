"""Worked bias examples of a textbook: R. L. Boylestad and L. Nashelsky, Electronic Devices and Circuit Theory,
11th edition, chapter 7. Its transistors have no channel-length modulation (lambda = 0) and its answers are read from
drawn curves, to two or three figures; the tolerances are those of a drawing.
"""

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.in_hand.two_readings import Accuracy, Readings, two_readings

#: I_DSS in A, V_GS(off) in V, R_S in ohm, I_D in A, V_GS in V
SELF_BIAS = {
    # example 7.18 (read): m = 0.31, I_D = 0.18 I_DSS, V_GS = 0.575 V_P
    "7.18": (6e-3, -3.0, 1.6e3, 1.08e-3, -1.73),
    # examples 7.2 and 7.3 (from memory): one transistor with three source resistors
    "7.2": (8e-3, -6.0, 1e3, 2.6e-3, -2.6),
    "7.3a": (8e-3, -6.0, 100.0, 6.4e-3, -0.64),
    "7.3b": (8e-3, -6.0, 10e3, 0.46e-3, -4.6),
}


def _chain(idss: float, vgsoff: float, source_r: float) -> SignalChain:
    return SignalChain(
        stage="gain", jfet_idss=idss, jfet_vgsoff=vgsoff, jfet_lambda=0.0, jfet_ig=0.0, source_r=source_r,
        drain_r=1e3, supply_v=20.0, gate_r=1e6,
    )  # fmt: skip


@pytest.mark.parametrize("example", SELF_BIAS)
def test_self_bias_as_drawn(example) -> None:
    idss, vgsoff, source_r, i_d, v_gs = SELF_BIAS[example]
    point = bias(_chain(idss, vgsoff, source_r))
    assert float(point.i_d) == pytest.approx(i_d, rel=0.03)
    assert float(point.v_gs) == pytest.approx(v_gs, rel=0.02)


def test_two_readings_give_the_book_transistor_back() -> None:
    """V_S with 100 ohm and with 10 kohm (example 7.3, two figures each) lead back to 8 mA and -6 V.

    Without the book's drain resistor: 6.4 mA through its 3.3 kohm would need more than its 20 V.
    """
    readings = Readings(100.0, 0.64, 10e3, 4.6, 20.0, meter_r=1e9)
    found = two_readings(readings, Accuracy(digit_v=0.1, resistor_percent=0.0, lambda_range=(0.0, 0.0)))
    assert found.idss_range[0] <= 8e-3 <= found.idss_range[1]
    assert found.vgsoff_range[0] <= -6.0 <= found.vgsoff_range[1]
    assert float(found.vgsoff) == pytest.approx(-6.0, rel=0.02)
    assert float(found.idss) == pytest.approx(8e-3, rel=0.02)
