"""Values fitted to a sweep and to takes, against the chains that made them."""

import numpy as np
import pytest

from piezolab.audio import AudioError
from piezolab.chain.link import from_link
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import loading
from piezolab.studies.recordings.against_prediction import compared
from piezolab.studies.recordings.chain_fits import chain_fit
from piezolab.studies.recordings.invented_takes import invented_takes
from piezolab.studies.recordings.shared_notes import shared_notes
from piezolab.studies.recordings.studied_take import studied
from piezolab.studies.recordings.sweep_against import SetUp, as_swept
from piezolab.studies.recordings.swept import TWELFTHS, SweptTake
from piezolab.studies.recordings.takes_fit import pickup_fit

HZ = TWELFTHS[(TWELFTHS > 20.5) & (TWELFTHS < 19.5e3)]
KNOWN = SetUp(2.2e-9, alike=True)


def take_of(link, capacitor=2.2e-9, seed=1, off_db=0.05):
    """A sweep's response without the sweep: exact, with errors that a real one has."""
    chance = np.random.default_rng(seed)
    gain = LinearChain.of(as_swept(from_link(link), capacitor).values).gain(HZ)
    gain = gain * 10 ** (chance.normal(0, off_db, len(HZ)) / 20) * np.exp(1j * chance.normal(0, 0.005, len(HZ)))
    none = np.full((4, 1), np.nan)
    return SweptTake("x", HZ, gain, np.full(len(HZ), 0.02), HZ[:1], none, none, 0.0, True, 0, 0.5, None, 0.3)


@pytest.mark.parametrize("gate_r", ["220k", "680k", "1M5"])
def test_the_gate_resistor_with_a_known_capacitor(gate_r):
    truth = float(from_link(f"gate_r={gate_r}").values.gate_r)
    fit = chain_fit(take_of(f"input=line&gate_r={gate_r}"), from_link("input=line&gate_r=1M"), KNOWN, ["gate_r"])
    found = fit.values["gate_r"]
    assert fit.apart["gate_r"] and fit.usable == ("gate_r",) and fit.product is None and not fit.edge
    assert found.value == pytest.approx(truth, rel=0.03) and found.low < truth < found.high
    assert float(fit.into(from_link("input=line")).values.gate_r) == pytest.approx(found.value, rel=0.005)


def test_capacitor_and_gate_resistor_are_told_as_a_product_only():
    """The low corner is 1/(2 pi R C): without a level nothing tells them apart."""
    chain = from_link("input=line&gate_r=1M")
    fit = chain_fit(take_of("input=line&gate_r=680k", 3.3e-9), chain, SetUp(2.2e-9), ["pickup_c", "gate_r"])
    assert not fit.apart["pickup_c"] and not fit.apart["gate_r"] and not fit.usable
    product = fit.product[2]
    assert product.value == pytest.approx(680e3 * 3.3e-9, rel=0.05) and product.low < 680e3 * 3.3e-9 < product.high


def test_a_follower_hardly_tells_its_transistor_and_a_gain_stage_does():
    known = chain_fit(take_of("input=line"), from_link("input=line"), SetUp(2.2e-9), ["jfet_vgsoff"])
    assert not known.apart["jfet_vgsoff"]
    stage = "input=line&stage=gain&gate_r=1M&bypass_c=0"
    truth = abs(float(from_link(stage).values.jfet_vgsoff)) * 1.3
    idss = float(from_link(stage).values.jfet_idss) * 1.69
    take = take_of(f"{stage}&jfet_vgsoff={truth}&jfet_idss={idss}")
    fit = chain_fit(take, from_link(stage), KNOWN, ["gate_r", "jfet_vgsoff"])
    found = fit.values["jfet_vgsoff"]
    assert found.low <= truth <= found.high and fit.apart["gate_r"]


def test_intervals_hold():
    """Errors of each point drawn anew; the assumed share between neighbours makes them wide."""
    held = 0
    for seed in range(12):
        take = take_of("input=line&gate_r=680k", seed=seed, off_db=0.1)
        fit = chain_fit(take, from_link("input=line&gate_r=1M"), KNOWN, ["gate_r"])
        held += fit.values["gate_r"].low <= 680e3 <= fit.values["gate_r"].high
    assert held >= 11


def test_what_cannot_be_fitted():
    take = take_of("input=line")
    with pytest.raises(AudioError, match="nothing is asked for"):
        chain_fit(take, from_link(""), KNOWN, [])
    with pytest.raises(AudioError, match="stage: the chain has none"):
        chain_fit(take, from_link("stage=direct"), KNOWN, ["gate_r"])


def test_the_pickup_from_bare_takes():
    """What made the takes is found again from the corner, with the input's resistance known; and so says `loading`."""
    chain = from_link("input=line&pickup_c=10n")
    takes = tuple(studied(one, n == 1) for n, one in enumerate(invented_takes(chain, 4)))
    other = from_link("input=line&pickup_c=15n")
    now = compared(takes, shared_notes(takes), other)
    fit = pickup_fit(now, other)
    assert fit.pickup_c.low < 10e-9 < fit.pickup_c.high and fit.pickup_c.value == pytest.approx(10e-9, rel=0.1)
    again = float(loading(other.but(pickup_c=fit.pickup_c.value)).corner_hz)
    assert again == pytest.approx(now.fit.corner.value, rel=1e-6)
    high = from_link("input=amplifier&pickup_c=15n")
    far = compared(takes, shared_notes(takes), high)
    assert pickup_fit(far, high) is None or pickup_fit(far, high).pickup_c is None
