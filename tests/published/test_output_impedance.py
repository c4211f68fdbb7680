"""Output impedance and gain of whole chains against worked examples of a textbook.

R. L. Boylestad and L. Nashelsky, "Electronic Devices and Circuit Theory", chapter on FET amplifiers; circuits and
printed results from memory. The book reads its operating point off a graph without channel-length modulation and puts
g_os beside the channel as it is on the sheet. Both are met exactly where I_DSS is entered as measured at the operating
V_DS, with the lambda that makes g_ds there the book's g_os. The book's coupling capacitors are taken as shorts: here
they are the largest that a chain may have.
"""

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.linear import LinearChain
from piezolab.studies.output import free, impedances, load_impedance

READ = 0.02  # what a graph gives
IDEAL = {
    "pickup_c": 500e-9, "pickup_loss": 0.0, "pickup_r": 100e9, "lead_m": 0.0, "gate_r": 1e6, "out_c": 1e-3,
    "bleed_r": 100e6, "cable_m": 0.0, "input_r": 1e9, "input_c": 0.0,
    "jfet_ciss": 0.1e-12, "jfet_crss": 0.0, "jfet_ig": 0.0,
}  # fmt: skip


def modulation(g_os: float, i_square: float, v_ds: float) -> float:
    """The lambda with which g_ds is g_os where the square law alone gives i_square and I_DSS was measured at v_ds."""
    share = g_os / i_square
    return share / (1 - share * v_ds)


def source_follower(g_os: float) -> SignalChain:
    """I_DSS 16 mA, V_P -4 V, R_S 2.2 kohm, R_G 1 Mohm, 9 V; V_GS -2.86 V, so V_DS 9 - 2.86 V."""
    v_ds, i_square = 9.0 - 2.86, 16e-3 * (1 - 2.86 / 4) ** 2
    return SignalChain({
        **IDEAL, "stage": "follower", "source_r": 2.2e3, "supply_v": 9.0, "jfet_idss": 16e-3, "jfet_vgsoff": -4.0,
        "jfet_vds": v_ds, "jfet_lambda": modulation(g_os, i_square, v_ds),
    })  # fmt: skip


@pytest.mark.parametrize(("g_os", "z_o"), [(25e-6, 362.0), (0.0, 365.7)])
def test_source_follower(g_os: float, z_o: float) -> None:
    """g_m 2.28 mS, Z_o 362 ohm and A_v 0.83 with g_os 25 uS; 365.7 ohm and 0.83 without."""
    chain = source_follower(g_os)
    at = bias(chain)
    assert float(at.v_gs) == pytest.approx(-2.86, rel=READ) and str(at.region) == "saturation"
    assert float(at.g_m) == pytest.approx(2.28e-3, rel=READ)
    assert float(at.g_ds) == pytest.approx(g_os, rel=READ, abs=1e-12)
    found = impedances(chain, 1000.0)
    assert abs(found.output) == pytest.approx(z_o, rel=READ)
    assert found.output.real == pytest.approx(z_o, rel=READ)
    assert float(found.input_resistance) == pytest.approx(1e6, rel=READ)
    assert abs(free(chain.values).gain(1000.0)) == pytest.approx(0.83, rel=READ)


def test_self_bias_common_source() -> None:
    """I_DSS 8 mA, V_P -6 V, R_S 1 kohm unbypassed, R_D 3.3 kohm, 20 V, g_os 20 uS: V_GS -2.6 V, Z_o 3.3 kohm (R_D, the
    book's approximation for a large r_d), A_v -1.92."""
    v_ds, i_square = 8.8, 8e-3 * (1 - 2.6 / 6) ** 2
    chain = SignalChain({
        **IDEAL, "stage": "gain", "source_r": 1e3, "drain_r": 3.3e3, "bypass_c": 0.0, "supply_v": 20.0,
        "jfet_idss": 8e-3, "jfet_vgsoff": -6.0, "jfet_vds": v_ds, "jfet_lambda": modulation(20e-6, i_square, v_ds),
    })  # fmt: skip
    assert float(bias(chain).v_gs) == pytest.approx(-2.6, rel=READ)
    assert free(chain.values).gain(1000.0).real == pytest.approx(-1.92, rel=READ)
    assert abs(impedances(chain).output) == pytest.approx(3.3e3, rel=0.03)


@pytest.mark.parametrize("load", [100.0, 362.0, 3620.0, 36.2e3])
def test_the_divider_of_output_impedance_and_load(load: float) -> None:
    """Half the voltage into a load like the output impedance, ten elevenths into ten times it (voltage divider)."""
    chain = source_follower(25e-6).but(input_r=load)
    z_o, z_l = impedances(chain).output, load_impedance(chain, 1000.0)
    whole = abs(free(chain.values).gain(1000.0))
    loaded = abs(LinearChain.of(chain.values).gain(1000.0))
    assert abs(z_l) == pytest.approx(load, rel=1e-12)
    assert loaded / whole == pytest.approx(abs(z_l / (z_l + z_o)), rel=1e-9)
    assert loaded / whole == pytest.approx(load / (load + 362.0), rel=READ)
