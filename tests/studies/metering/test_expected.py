"""Meter readings: against hand calculation, against other networks, and over parts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, assemble
from piezolab.chain.link import from_link
from piezolab.chain.stages.common_parts import model
from piezolab.circuit.elements import Jfet, Resistor, VoltageSource
from piezolab.circuit.jfet import JfetModel, channel
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.in_hand.own_measurements import (
    MeasureError,
    capacitance_by_levels,
    capacitance_by_meter,
    input_resistance,
    playing_level,
)
from piezolab.studies.in_hand.two_readings import Readings, characterise
from piezolab.studies.linear import LinearChain
from piezolab.studies.metering.board_under_meter import CLIP, SCHOTTKY_SATURATION_A, clip_range, fed, under_meter
from piezolab.studies.metering.expected import jig_volts, meter_ohms, meter_volts, transistor_check
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.metering.tone_on_board import TONE_HZ, exchange, tone_volts
from piezolab.studies.population import builds
from tests.sheets.chains import chains


def volts(link: str, meter: Meter | None = None, **more: object) -> dict:
    return {each.lane: each for each in meter_volts(under_meter(from_link(link), **more), meter)}


@pytest.mark.parametrize("meter_ohm", [10e6, 1e6, 100e6])
def test_gate_behind_a_divider_by_hand(meter_ohm: float) -> None:
    """4.5 V behind 500 kilohm (two of 1 Mohm) and 3.3 Mohm; the meter, the disc's 1 Gohm and the board load it."""
    found = volts("return=divider&divider_r=2M&gate_r=3M3&jfet_ig=0", Meter(input_ohm=meter_ohm), schottky=False)
    loads = 1 / (1 / meter_ohm + 1 / 1e9 + 1 / 1e11)
    by_hand = 4.5 * loads / (loads + 500e3 + 3.3e6)
    assert found["pickup"].expected.typical == pytest.approx(by_hand, rel=1e-3)
    assert found["pickup"].loaded
    if meter_ohm == 10e6:
        assert found["pickup"].expected.typical == pytest.approx(3.26, abs=0.01)
    middle = 1 / (1 / meter_ohm + 1 / (3.3e6 + 1e9))
    assert found["divider"].expected.typical == pytest.approx(4.5 * middle / (middle + 500e3), rel=2e-3)


def test_unloaded_volts_are_the_bias_of_the_chain() -> None:
    chain = from_link("stage=gain&supply_r=1k")
    point = LinearChain.of(chain.values).point
    for each in meter_volts(under_meter(chain, schottky=False)):
        if each.lane in ("source", "drain", "supply"):
            assert each.unloaded == pytest.approx(float(point.voltage(each.lane)), rel=1e-4)


@given(chains())
@settings(max_examples=20)
def test_every_reading_holds_its_typical_part_and_most_other_parts(chain: SignalChain) -> None:
    if not chain.topology.powered:
        with pytest.raises(ValueError, match="stage"):
            under_meter(chain)
        return
    built = under_meter(chain)
    end, fresh = built.clip_v
    assert 0 < end <= chain.supply_v <= fresh
    for each in meter_volts(built):
        low, typical, high = each.expected.low, each.expected.typical, each.expected.high
        assert np.isfinite([low, typical, high]).all() and low <= high
        if each.lane == CLIP:
            assert each.expected.holds(end) and each.expected.holds(fresh)


def test_other_parts_of_the_type_read_within_the_range() -> None:
    """Parts drawn anew, resistors too: at least 97 of 100 inside, at either end of the battery."""
    chain = from_link("stage=gain")
    expected = volts("stage=gain", schottky=False)
    for volt in clip_range(chain):
        values = builds(chain, 400, seed=99).but(supply_v=volt)
        scatter = np.random.default_rng(1).uniform(-0.01, 0.01, (3, 400))
        values = values.but(
            source_r=values.source_r * (1 + scatter[0]),
            drain_r=values.drain_r * (1 + scatter[1]),
            gate_r=values.gate_r * (1 + scatter[2]),
        )
        point = operating_point(assemble(values).network)
        for lane in ("source", "drain"):
            reading = point.voltage(lane)
            band = expected[lane].expected
            assert np.mean((reading >= band.low) & (reading <= band.high)) >= 0.97


def test_schottky_drop_is_that_of_a_junction_in_the_network() -> None:
    """Solved in turns there, as a junction of its own here."""
    chain = from_link("jfet=J310&source_r=470")
    built = under_meter(chain)
    junction = JfetModel(beta=1e-15, v_off=-1.0, saturation_current=SCHOTTKY_SATURATION_A / 2)
    whole = built.nominal.plus(
        VoltageSource("B", "cell", GROUND, 9.0),
        Resistor("series", "cell", CLIP, 10.0),
        Jfet("D", built.plus, CLIP, built.plus, junction),
    )
    other = operating_point(whole)
    ours = fed(built, built.nominal, 9.0, 10.0)
    for node in (CLIP, built.plus, "source"):
        assert float(ours.point.voltage(node)) == pytest.approx(float(other.voltage(node)), abs=2e-4)
    assert 0.1 < float(ours.point.voltage(CLIP) - ours.point.voltage(built.plus)) < 0.3


# -- ohms ------------------------------------------------------------------------------------------------------------
def test_ohms_of_plain_resistors_by_hand() -> None:
    found = {(each.red, each.black): each for each in meter_ohms(under_meter(from_link("stage=gain&supply_r=1k")))}
    for pair, ohm in {
        ("jack", GROUND): 100e3,
        ("drain", "supply"): 6.8e3,
        ("battery", "supply"): 1e3,
        ("source", GROUND): 1.5e3,
        ("battery", "drain"): 7.8e3,
    }.items():
        for way in (pair, pair[::-1]):
            expected = found[way].expected
            assert expected.typical == pytest.approx(ohm, rel=1e-3)
            assert ohm * 0.97 < expected.low < ohm * 0.99 and ohm * 1.01 < expected.high < ohm * 1.03


def test_channel_between_drain_and_source_reads_the_same_both_ways() -> None:
    """With little voltage the channel is a resistor, 1/(2 beta |V_GS(off)|), beside the way round by R_D and R_S."""
    chain = from_link("stage=gain&jfet_idss=4m&jfet_vgsoff=2&jfet_lambda=0")
    gentle = Meter(test_v=0.01, low_v=0.01)
    found = {(each.red, each.black): each.expected for each in meter_ohms(under_meter(chain), gentle)}
    by_hand = 1 / (2 * 4e-3 / 2**2 * 2)
    assert found["drain", "source"].typical == pytest.approx(by_hand, rel=1e-2)
    assert found["source", "drain"].typical == pytest.approx(by_hand, rel=1e-2)


def test_a_meter_with_a_high_test_voltage_sees_the_gate_junction_one_way() -> None:
    """At 2.5 V the junction conducts from gate to source; the other way only the gate resistor is there."""
    chain = from_link("")
    meter = Meter(test_v=2.5)
    found = {(each.red, each.black): each.expected for each in meter_ohms(under_meter(chain), meter)}
    assert found["pickup", "source"].low < 0.1 * found["source", "pickup"].low
    assert found["source", "pickup"].low > 4.5e6


def test_beeper_and_overrange() -> None:
    chain = from_link("jfet=J310&source_r=33&gate_r=1G")
    found = {(each.red, each.black): each for each in meter_ohms(under_meter(chain))}
    assert found["source", GROUND].beeps
    assert not found["jack", GROUND].beeps
    assert found[GROUND, "pickup"].expected.high == np.inf
    quiet = meter_ohms(under_meter(chain), pairs=[("source", GROUND)], beeps_below=10.0)
    assert [each.beeps for each in quiet] == [False]


# -- the transistor by itself ----------------------------------------------------------------------------------------
def test_diode_test_and_channel_of_the_transistor() -> None:
    """The law of the junction by hand: V_T ln(1 mA/10 fA) = 25.69 mV * 25.33; the channel by its slope at nothing."""
    chain = SignalChain()
    found = transistor_check(chain, Meter(test_v=0.01, low_v=0.01))
    assert found.junction.typical == pytest.approx(0.02569 * np.log(1e11), rel=1e-3)
    assert found.junction.low < 0.6 < 0.75 < found.junction.high
    parts = model(builds(chain, 300, seed=5))
    tiny = 1e-4
    ohm = tiny / channel(parts, 0.0, tiny)[0]
    assert np.mean((ohm > 0.95 * found.channel.low) & (ohm < 1.05 * found.channel.high)) > 0.97


def test_exchanging_drain_and_source_moves_the_small_capacitances_only() -> None:
    found = exchange(from_link("stage=gain&jfet_ciss=10p&jfet_crss=2p&pickup_c=1n"))
    assert found.c_rss == pytest.approx((2e-12, 8e-12))
    assert found.gain[1] < found.gain[0]  # the larger one now feeds the drain back
    assert exchange(from_link("stage=direct")) is None


# -- tone ------------------------------------------------------------------------------------------------------------
def test_tone_at_the_jack_is_the_stages_gain() -> None:
    chain = from_link("stage=gain")
    found = {each.lane: each for each in tone_volts(under_meter(chain, schottky=False), Meter(input_ohm=1e12))}
    linear = LinearChain.of(chain.values)
    from piezolab.circuit.small_signal import transfer

    network = linear.network.without(*linear.assembly.names("cable", "input"))
    ratio = abs(
        transfer(network, TONE_HZ, linear.assembly.drive, "jack")
        / transfer(network, TONE_HZ, linear.assembly.drive, "pickup")
    )
    assert found["jack"].expected.typical / found["pickup"].expected.typical == pytest.approx(float(ratio), rel=1e-3)
    assert found["jack"].resolved and not found["supply"].resolved
    assert tone_volts(under_meter(chain), Meter(ac_ranges=())) == ()


# -- measure what you have -------------------------------------------------------------------------------------------
@given(st.floats(1e-9, 100e-9), st.floats(50.0, 400.0))
def test_capacitance_from_two_recordings(farad: float, hertz: float) -> None:
    """Forward through the network, back by the formula."""
    levels = []
    for ohm in (22e3, 220e3):
        values = SignalChain(
            stage="direct", pickup_c=farad, pickup_r=100e9, pickup_loss=0.0, lead_m=0.0, cable_m=0.0, input_r=ohm,
            input_c=0.0,
        ).values  # fmt: skip
        levels.append(20 * np.log10(abs(complex(LinearChain.of(values).gain(hertz)))))
    found = capacitance_by_levels(22e3, levels[0], 220e3, levels[1], hertz)
    if abs(levels[0] - levels[1]) > 0.01 and levels[0] - levels[1] > -19.99:
        assert found.value == pytest.approx(farad, rel=1e-2)
        assert found.low <= farad <= found.high


def test_what_cannot_be_measured_is_refused_in_a_sentence() -> None:
    with pytest.raises(MeasureError, match=r"levels: a difference of -25.0 dB is out of range; allowed is -20.0 to"):
        capacitance_by_levels(22e3, -25, 220e3, 0, 100)
    with pytest.raises(MeasureError, match="the smaller first"):
        capacitance_by_levels(220e3, -25, 22e3, 0, 100)
    with pytest.raises(MeasureError, match="peak: 1 dBFS"):
        playing_level(1.0, 2.0, 0.5)
    with pytest.raises(MeasureError, match="drop: 0.1 dB"):
        input_resistance(1e6, 0.1)
    with pytest.raises(MeasureError, match="capacitance: "):
        capacitance_by_meter(1e-11, 0.01, 1e-12, lead=3e-11)


def test_simple_measurements_by_hand() -> None:
    halved = input_resistance(1e6)
    assert halved.value == pytest.approx(1e6) and halved.low < 0.93e6 and halved.high > 1.07e6
    assert input_resistance(1e6, 20 * np.log10(3)).value == pytest.approx(0.5e6)
    take = playing_level(-6.0206, 2.0, 0.5)
    assert take.value == pytest.approx(2.0, rel=1e-4) and take.low < 2.0 < take.high
    assert playing_level(0.0, 2.0, 0.5).high == np.inf  # the take may have clipped
    disc = capacitance_by_meter(15.03e-9, 0.02, 0.03e-9, lead=0.03e-9)
    assert disc.value == pytest.approx(15e-9)
    assert disc.high - disc.value == pytest.approx(0.02 * 15.03e-9 + 0.03e-9)


def test_the_bench_has_no_battery_cable_or_input() -> None:
    built = under_meter(from_link("pad=10k,1k"))
    names = {element.name for element in built.network}
    assert not names & {"B1", "C_cable", "R_in", "C_in", "R_pad1"}
    assert isinstance(built.network, Network) and built.lanes[-1] == GROUND


def test_jig_reads_what_the_two_reading_formula_takes_back() -> None:
    """Our expected readings, put into the two-reading study, give the chain's own transistor back."""
    chain = from_link("jfet=2N5457")
    one, two = jig_volts(chain, 330.0, 4.7e3, Meter(input_ohm=10e6))
    values = chain.values
    found = characterise(
        Readings(330.0, one.typical, 4.7e3, two.typical, 9.0), lambda_=values.jfet_lambda, vds=values.jfet_vds
    )
    assert float(found.idss) == pytest.approx(values.jfet_idss, rel=1e-3)
    assert float(found.vgsoff) == pytest.approx(values.jfet_vgsoff, rel=1e-3)
    assert one.low < one.typical < one.high and two.typical > one.typical


# -- the meter's ohms ranges -------------------------------------------------------------------------------------------
def test_ranges_of_ordinary_meters() -> None:
    """Displays to 1999, 3999 and 5999, as they are sold: common practice, no source."""
    tops = {
        (2000, 20e6): [200, 2e3, 20e3, 200e3, 2e6, 20e6], (1999, 2e6): [199.9, 1999, 19990, 199900, 2e6],
        (4000, 40e6): [400, 4e3, 40e3, 400e3, 4e6, 40e6], (6000, 60e6): [600, 6e3, 60e3, 600e3, 6e6, 60e6],
    }  # fmt: skip
    for (counts, ohm_max), wanted in tops.items():
        meter = Meter(counts=counts, ohm_max=ohm_max)
        assert [each.top for each in meter.ohm_ranges] == pytest.approx(wanted)
        assert meter.ohm_ranges[0].volt == 2.8 and {each.volt for each in meter.ohm_ranges[1:]} == {0.4}
        assert meter.ohm_ranges[0].volt / meter.ohm_ranges[0].ohm == pytest.approx(1e-3)
        assert meter.test_ohm == meter.ohm_ranges[-1].ohm == ohm_max / 2
    assert Meter(counts=4000).volt_ranges == pytest.approx((0.4, 4, 40, 400))
    assert Meter(counts=4000).ac_digit(1.0) == pytest.approx(1e-3)


def test_a_weak_part_reads_otherwise_each_way_on_a_range_that_drives_a_milliampere() -> None:
    """I_DSS 0.9 mA, V_GS(off) -0.6 V on a 400 ohm range of 2.8 V: by hand with the square law, both ways.

    Red on the third leg the current nears what the channel can carry; black on it, the channel opens wider.
    """
    chain = from_link("jfet=J201&jfet_idss=0.9m&jfet_vgsoff=0.6&jfet_lambda=0&jfet_vds=9")
    found = transistor_check(chain, Meter(counts=4000, ohm_max=40e6))
    beta = 0.9e-3 / 0.6**2

    def shown(law: object, ranges: tuple[tuple[float, float, float], ...]) -> float:
        for top, volt, own in ranges:
            across = brentq(lambda v, volt=volt, own=own: (volt - v) / own - law(v), 1e-6, volt)
            if across / ((volt - across) / own) <= top:
                return across / ((volt - across) / own)
        return np.inf

    ranges = ((400.0, 2.8, 2800.0), (4000.0, 0.4, 2000.0))
    ahead = shown(lambda v: beta * (2 * 0.6 * v - v * v) if v < 0.6 else 0.9e-3, ranges)
    back = shown(lambda v: beta * (2 * 0.6 * v + v * v) + 1e-14 * np.expm1(v / 0.02569), ranges)
    assert found.channel.typical == pytest.approx(ahead, rel=1e-3)
    assert found.exchanged.typical == pytest.approx(back, rel=1e-3)
    assert ahead > 1.2 * back
