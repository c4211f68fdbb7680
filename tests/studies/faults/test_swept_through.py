"""The sweep as a reading: against the chain's own response and harmonics; what it shows, and how it is weighed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.pages.kit.form import FieldError
from piezolab.pages.where_is_the_fault.entry import read
from piezolab.studies.added_harmonics import distortion
from piezolab.studies.faults import FaultTable, diagnose
from piezolab.studies.faults.bands import band_of, outside, unseen, widened
from piezolab.studies.faults.fault_figures import fault_figures, read_readings
from piezolab.studies.faults.fault_network import fault_network, settings_of
from piezolab.studies.faults.making import fault_table, question_of
from piezolab.studies.faults.network_names import SWEEP
from piezolab.studies.faults.readings import (
    INTERVAL,
    KINDS,
    SWEPT,
    Check,
    Reading,
    ReadingError,
    checked,
    natural,
    scaled,
    sigma,
)
from piezolab.studies.faults.simulate import Findings, Tone, simulate
from piezolab.studies.faults.swept_through import BASS_HZ, MIDDLE_HZ, clipped_second, corner_of_drop
from piezolab.studies.linear import LinearChain
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.recordings.sweep_against import as_swept
from tests.chain.strategies import random_chain

ALL = (*KINDS, *SWEPT)


def as_designed(chain: SignalChain, volt: float) -> Findings:
    """The parts as they should be, the tone and the sweep of so many volts rms."""
    assembly = assemble(chain.values)
    network = fault_network(assembly, diode=False)
    settings = {name: np.full(1, value) for name, value in settings_of(network, assembly).items()}
    settings |= {f"{part.name}.inside": np.full(1, 1e-3) for part in network.batteries}
    return simulate(network, settings, 1, question_of(chain, Meter(), Tone(v_rms=volt), swept=True))


def chains() -> list[SignalChain]:
    rng = np.random.default_rng(17)
    made = (random_chain(rng).but(temp_c=25.0) for _ in range(150))  # the capacitor does not follow a disc's warmth
    return [SignalChain(), SignalChain(stage="gain"), SignalChain(discs="2sx"), SignalChain(stage="direct"), *(
        chain for chain in made if chain.stage in ("follower", "gain") and chain.loop_v == 0
    )][:40]  # fmt: skip


def test_level_and_corner_are_those_of_the_chains_own_response() -> None:
    checked = 0
    for n, chain in enumerate(chains()):
        near = 0.02 if n < 4 else 0.3  # dB: the bench has a short's and a leak's place everywhere, and a cold diode
        gain = np.abs(LinearChain.of(as_swept(chain, None).values).gain(np.array([BASS_HZ, MIDDLE_HZ])))
        if gain[1] < 0.03:  # a transistor cut off: what little comes through hangs on its leakage
            continue
        checked += 1
        found = as_designed(chain, 0.3)
        assert found.level[SWEEP][0] == pytest.approx(20 * np.log10(gain[1]), abs=near), chain
        # the first-order high-pass that has both gains
        corner = found.corner[SWEEP][0]
        ratio = np.hypot(1, corner / MIDDLE_HZ) / np.hypot(1, corner / BASS_HZ)
        if gain[0] < 1.2 * BASS_HZ / MIDDLE_HZ * gain[1]:  # steeper than any first-order high-pass
            assert corner > 0.9 * MIDDLE_HZ
        elif gain[0] < gain[1]:
            assert ratio == pytest.approx(gain[0] / gain[1], rel=near / 8), chain
        else:
            assert corner == pytest.approx(0, abs=0.5)
    assert checked >= 10


@pytest.mark.parametrize("chain", [SignalChain(), SignalChain(stage="gain"), SignalChain(stage="gain", bypass_c=0.0)])
def test_distortion_is_that_of_the_large_signal(chain: SignalChain) -> None:
    """Small enough not to clip: the second harmonic of the chain's solved transfer, through the same capacitor."""
    volt = 0.02
    swept = as_swept(chain, None).but(play_v=volt * 2**0.5)
    whole = distortion(swept, (0.0,)).harmonics[0]
    assert as_designed(chain, volt).bend[SWEEP][0] == pytest.approx(whole[1] / whole[0], rel=0.05)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 0.95, 1.0, 3.0])
def test_a_clipped_half_wave_by_its_spectrum(share: float) -> None:
    turn = 2 * np.pi * np.arange(4096) / 4096
    lines = np.abs(np.fft.rfft(np.minimum(np.cos(turn), share)))
    assert clipped_second(np.array(share)) == pytest.approx(lines[2] / lines[1], abs=1e-5)


@pytest.mark.parametrize("corner", [0.0, 2.0, 80.0, 900.0])
def test_a_corner_comes_back(corner: float) -> None:
    bass, middle = (1 / np.hypot(1, corner / hz) for hz in (BASS_HZ, MIDDLE_HZ))
    assert corner_of_drop(np.array(bass), np.array(middle)) == pytest.approx(corner, abs=1e-6)


@pytest.fixture
def table() -> FaultTable:
    """The default chain's, with a sweep's readings."""
    return fault_table(SignalChain(), swept=True)


def test_what_a_sweep_shows_and_what_not(table: FaultTable) -> None:
    """A lead that is off and a small output capacitor; not what is wrong with the disc, which is unplugged."""
    band = widened(table, band_of(table, table.value[:, table.of_hypothesis == 0]))
    swept = np.array([check.kind in SWEPT for check in table.checks[:-1]])
    shows = (outside(table, table.value, band, ac=False, swept=True) & swept[:, None]).any(axis=0)
    share = {fault.key: shows[table.of_hypothesis == n].mean() for n, fault in enumerate(table.hypotheses)}
    assert share["disc:open"] > 0.95 and share["small:C_out"] > 0.9
    assert max(share[key] for key in ("healthy", "disc:dead", "disc:depolarised", "upside_down")) < 0.05
    assert {"disc:dead", "small:C_out"} <= set(unseen(table)), "without a sweep it counts for nothing"


def test_three_numbers_of_one_sweep_find_a_small_output_capacitor(table: FaultTable) -> None:
    n = [fault.key for fault in table.hypotheses].index("small:C_out")
    build = np.flatnonzero(table.of_hypothesis == n)[5]
    told = [
        Reading(kind, SWEEP, float(natural(kind, table.value[table.index(Check(kind, SWEEP)), build], table.meter)))
        for kind in SWEPT
    ]
    before, after = (diagnose(table, readings, ("thin",)) for readings in ((), told))
    spot = table.hypotheses[n].spot
    assert after.probability(spot) > 3 * before.probability(spot) and after.spots[0].spot == spot


def test_a_sweep_is_proposed_once_and_only_where_there_is_one(table: FaultTable) -> None:
    for kinds, most in ((KINDS, 0), (ALL, 1)):
        # a clip and a supply as they should be open the way to the battery
        sound = table.of_hypothesis == 0
        read = [
            Reading("ohm", place, float(natural("ohm", np.median(table.value[table.index(Check("ohm", place)), sound]),
                                                table.meter)))
            for place in ("clip", "supply", "drain") if Check("ohm", place) in table.checks
        ]  # fmt: skip
        found = diagnose(table, read, ("thin",), kinds)
        proposed = [step for step in (found.next, *found.others) if step and step.check.kind in SWEPT]
        assert len(proposed) <= most and (found.unpowered_only or len(proposed) == most)


@pytest.mark.parametrize(("kind", "value"), [("corner", 83.0), ("level", -3.2), ("bend", 0.02)])
def test_there_and_back_and_how_surely(kind: str, value: float) -> None:
    meter = Meter()
    assert natural(kind, scaled(kind, value, meter), meter) == pytest.approx(value)
    rough, fine = (sigma(Reading(kind, SWEEP, value, half), meter) for half in (0.5 * abs(value), 1e-3 * abs(value)))
    assert rough > fine > 0 and sigma(Reading(kind, SWEEP, value), meter) > fine


_ENDS = {"corner": (0.0, 20e3), "level": (-200.0, 100.0), "bend": (0.0, 1.0)}


@given(st.sampled_from(SWEPT), st.floats(0, 1), st.one_of(st.none(), st.floats(1e-6, 1e4)))
def test_its_words_keep_number_and_interval(kind: str, share: float, half: float | None) -> None:
    low, high = _ENDS[kind]
    reading = Reading(kind, SWEEP, low + share * (high - low), half)
    for text in (reading.words, reading.words.replace(INTERVAL, "+-")):
        [again] = read_readings([text])
        typed = read(reading.check, text.partition("=")[2])
        for one in (again, typed):
            assert one.value == pytest.approx(reading.value, rel=1e-3, abs=1e-9)
            assert one.digit == (half if half is None else pytest.approx(half, rel=0.06))


def test_the_interval_is_weighed(table: FaultTable) -> None:
    """The better a sweep was recorded, the further it moves the places from where they stood without it; without an
    interval it counts as before there were any."""
    before = {spot.spot: spot.probability for spot in diagnose(table).spots}
    moved = []
    for text in ("corner:sweep=8±0.2", "corner:sweep=8", "corner:sweep=8±20"):
        spots = diagnose(table, read_readings([text])).spots
        moved.append(sum(abs(spot.probability - before[spot.spot]) for spot in spots) / 2)
    assert moved[0] > moved[1] > 1.2 * moved[2] > 0, moved
    assert sigma(*read_readings(["corner:sweep=26"]), Meter()) == pytest.approx(np.hypot(0.05, 0.05))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("corner:sweep=83±", "half its interval: '' is empty"),
        ("corner:sweep=83±x", "half its interval: 'x' cannot be read"),
        ("corner:sweep=83±4±2", "half its interval: '4±2' is not one single number"),
        ("corner:sweep=83+-4 V", "half its interval"),
        ("corner:sweep=±4", "reading corner sweep: '' is empty"),
        ("corner:sweep=83±-4", "-4.0 as half its interval; allowed is a number above 0 Hz."),
        ("bend:sweep=0.02±0", "0.0 as half its interval; allowed is a number above 0."),
        ("dc:source=1.02±0.1", "'1.02±0.1' is not one single number"),
    ],
)
def test_an_interval_that_is_none_is_refused_in_one_sentence(text: str, sentence: str) -> None:
    key, _, value = text.partition("=")
    with pytest.raises(ReadingError) as refused:
        checked(read_readings([text]), (Check(*key.split(":")),))
    assert sentence in str(refused.value) and "\n" not in str(refused.value)
    with pytest.raises(FieldError):
        read(Check(*key.split(":")), value)


def test_as_words_of_the_command() -> None:
    read = read_readings(["corner:sweep=83", "level:sweep=-3.2", "bend:sweep=0.02"])
    assert [reading.value for reading in read] == [83.0, -3.2, 0.02] and all(one.digit is None for one in read)
    found = fault_figures(SignalChain(), read)
    assert "corner:sweep" in found["readings_to_take"] and not found["next"]["reading"].endswith(":sweep")
    refused = {"corner:sweep=30k": "0 to 20000 Hz", "bend:sweep=2": "0 to 1", "corner:jack=9": "sweep"}
    for text, allowed in refused.items():
        with pytest.raises(ReadingError, match=allowed):
            fault_figures(SignalChain(), read_readings([text]))
