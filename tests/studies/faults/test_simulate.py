"""The bench against ordinary networks made by hand; meter loading and channel resistance against closed forms."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.studies.faults.fault_network import fault_network, settings_of
from piezolab.studies.faults.hypotheses import Hypothesis
from piezolab.studies.faults.making import faults_of, question_of
from piezolab.studies.faults.network_names import Settings
from piezolab.studies.faults.simulate import HIGH_HZ, LOW_HZ, Findings, Tone, simulate
from piezolab.studies.metering.instrument import Meter
from tests.studies.faults import direct

CHAINS = {
    "follower": SignalChain(),
    "gain": SignalChain(stage="gain", gate_stop=1e3),
    "divider": SignalChain({"return": "divider", "supply_r": 470.0, "drain_r": 1.5e3}),
    "tap": SignalChain({"return": "tap", "pad": (10e3, 22e3)}),
}
METER, TONE = Meter(), Tone()
DRAWN = 2.2e3  # ohm, whatever is drawn
BY_HAND = (
    "healthy", "open:R_", "joint:R_", "joint:C_out", "large:", "small:", "bridge:", "reversed_capacitor:", "swapped:",
    "pins:", "leak:", "dead:", "reversed_battery:",
    "lane_bridge:",
)  # fmt: skip


def found(chain: SignalChain, fault: Hypothesis, size: int = 2, way: int = 0) -> Findings:
    """Simulated readings of the parts as designed with one fault, made in one way, whose drawn values are all DRAWN; no
    diode: it has tests of its own."""
    assembly = assemble(chain.values)
    network = fault_network(assembly, diode=False)
    settings: Settings = {name: np.full(size, value) for name, value in settings_of(network, assembly).items()}
    settings |= {name: value for name, value in settings.items() if name.endswith(".inside")}
    for part in network.batteries:
        settings[f"{part.name}.inside"] = np.full(size, 1e-3)
    changes = fault.edits[way](settings, lambda low, high: np.full(size, DRAWN))
    changes = {name: value for name, value in changes.items() if not name.endswith(".asleep")}
    return simulate(network, settings | changes, size, question_of(chain, METER, TONE))


def cases() -> list[tuple[str, Hypothesis]]:
    answer = []
    for name, chain in CHAINS.items():
        for fault in faults_of(chain, fault_network(assemble(chain.values), diode=False)):
            by_hand = fault.key.startswith(BY_HAND) and "cable" not in fault.key and "jack" not in fault.key
            if by_hand and not fault.key.startswith(("open:Q", "joint:B", "joint:Q", "joint:R_pad")):
                answer.append((name, fault))
    return answer


@pytest.mark.parametrize("name", CHAINS)
def test_every_reading_agrees_with_the_network_made_by_hand(name: str) -> None:
    chain, checked = CHAINS[name], 0
    own = [fault for where, fault in cases() if where == name]
    for fault in own if name == "follower" else own[::4]:
        parts = direct.edited(chain, fault.key, {"ohm": DRAWN})
        readings = found(chain, fault)
        for lane, shown in readings.dc.items():
            if lane == "clip":
                continue
            volts = direct.volts(parts, lane, METER)
            assert shown[0] == pytest.approx(volts, rel=2e-3, abs=2e-5), (fault.key, "dc", lane)
            ohm = direct.ohms(parts, lane, METER)
            ours = readings.ohm[lane][0]
            both_over = min(ohm, ours) > 2 * METER.ohm_max
            assert both_over or ours == pytest.approx(ohm, rel=2e-3, abs=0.1), (fault.key, "ohm", lane)
            for readings_at, hertz in ((readings.low, LOW_HZ), (readings.high, HIGH_HZ)):
                rms = direct.tone(parts, lane, hertz, METER, TONE)
                assert readings_at[lane][0] == pytest.approx(rms, rel=3e-3, abs=3e-5), (fault.key, hertz, lane)
            checked += 1
    assert checked > 50


def test_builds_of_one_batch_do_not_touch_each_other() -> None:
    chain = CHAINS["follower"]
    network = fault_network(assemble(chain.values))
    faults = faults_of(chain, network)[:12]
    assembly = assemble(chain.values)
    base = settings_of(network, assembly)
    size = len(faults)
    batch = {name: np.full(size, value) for name, value in base.items()}
    for n, fault in enumerate(faults):
        one = {name: np.full(1, value) for name, value in base.items()}
        for name, value in fault.edit(one, lambda low, high: np.full(1, DRAWN)).items():
            batch.setdefault(name, np.ones(size))
            batch[name][n] = value[0] if np.ndim(value) else value
    together = simulate(network, batch, size, question_of(chain, METER, TONE))
    for n, fault in enumerate(faults):
        one = {name: value[n : n + 1] for name, value in batch.items()}
        alone = simulate(network, one, 1, question_of(chain, METER, TONE))
        for place, volts in alone.dc.items():
            assert together.dc[place][n] == pytest.approx(volts[0], rel=1e-7, abs=1e-9), (fault.key, place)


def test_meter_loading_by_thevenin() -> None:
    """4.5 V behind 500 kohm (two 1 Mohm) and a gate resistor of 3.3 Mohm reads 4.5 * 10/13.8 = 3.26 V on 10 Mohm."""
    chain = SignalChain(
        {"return": "divider", "divider_r": 2e6, "gate_r": 3.3e6, "pickup_r": 100e9, "jfet_ig": 0.0, "source_r": 10e3}
    )
    healthy = faults_of(chain, fault_network(assemble(chain.values), diode=False))[0]
    assert found(chain, healthy).dc["pickup"][0] == pytest.approx(4.5 * 10 / 13.8, rel=2e-3)


def test_ohms_through_the_channel() -> None:
    """Near zero volts a channel at V_GS = 0 is r = 1/(2 beta |V_GS(off)|): Shichman and Hodges 1968, triode law. On the
    20 kohm range it drops some 30 mV and its source stands 0.1 V up: by a few ohm more."""
    chain = SignalChain(jfet_idss=5e-3, jfet_vgsoff=-2.0, jfet_lambda=0.0)
    healthy = faults_of(chain, fault_network(assemble(chain.values), diode=False))[0]
    channel = 1 / (2 * 5e-3 / 2.0**2 * 2.0)
    assert 3900 + channel < found(chain, healthy).ohm["supply"][0] < 3900 + 1.1 * channel
    assert found(chain, healthy).ohm["source"][0] == pytest.approx(3900, rel=1e-4)
    assert found(chain, healthy).ohm["jack"][0] == pytest.approx(100e3, rel=1e-4)


def test_places_beyond_the_board() -> None:
    chain = SignalChain()
    faults = {fault.key: fault for fault in faults_of(chain, fault_network(assemble(chain.values), diode=False))}

    def read(key: str) -> Findings:
        return found(chain, faults[key])

    healthy = read("healthy")
    assert healthy.ohm["plug"][0] == pytest.approx(100e3, rel=1e-3)
    assert healthy.ohm["cable"][0] < 1
    for key in ("cable:open", "jack:open", "missing_ground:jack.sleeve"):
        assert read(key).ohm["plug"][0] > 1e9, key
        assert read(key).ohm["jack"][0] == pytest.approx(100e3, rel=1e-3)
        assert read(key).gain_high[0] < 1e-2 * healthy.gain_high[0]
    assert read("cable:open").ohm["cable"][0] > 1e9
    assert read("cable:short").ohm["plug"][0] == pytest.approx(DRAWN, rel=0.05)
    assert read("cable:short").ohm["jack"][0] == pytest.approx(100e3, rel=1e-3), "the cable is unplugged there"
    assert read("switch:B1").ohm["clip"][0] < DRAWN, "with the switch on"
    assert read("switch:B1").ohm["supply"][0] == pytest.approx(healthy.ohm["supply"][0], rel=1e-3), "with it off"
    assert read("bridge:C_sup").ohm["supply"][0] < DRAWN
    assert read("missing_ground:jack.sleeve").hum[0] > 30 * healthy.hum[0]
    assert read("disc:open").hum[0] > 5 * healthy.hum[0]
    assert read("missing_ground:B1.minus").dc["supply"][0] == pytest.approx(0, abs=0.01)
    assert read("missing_ground:B1.minus").dc["clip"][0] == pytest.approx(9, rel=0.01)


def test_a_short_heats_the_battery() -> None:
    """Power is E^2/(R_i + R): 9 V behind 1 mohm into 0.22 ohm and into 2.2 kohm."""
    chain = SignalChain()
    faults = {fault.key: fault for fault in faults_of(chain, fault_network(assemble(chain.values), diode=False))}
    assert found(chain, faults["switch:B1"]).battery_w[0] == pytest.approx(81 / DRAWN, rel=0.2)
    assert found(chain, faults["healthy"]).battery_w[0] < 0.02
