"""A clipped sound is what the time-domain engine and the ceiling say, and nothing folds down into it."""

import numpy as np
import pytest
from scipy.signal import resample

from piezolab.audio import RATE
from piezolab.audio.processing import filtered
from piezolab.audio.strings import pluck
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.long_run import TOO_FAR
from piezolab.circuit.transient import stored_at, transient
from piezolab.studies.clipped_sound import LONGEST_S, clipped
from piezolab.studies.levels import levels
from piezolab.studies.linear import LinearChain
from piezolab.studies.listening import SOUNDS

FINER = 4
PITCHES = (147.0, 1000.0)  # the default chain's lowest string, and 1 kHz
STAGES = (
    {"stage": "follower"},
    {"stage": "gain"},
    {"stage": "gain", "bypass_c": 0.0},
    {"stage": "gain", "input_max": 100.0},
)


def edge_v(chain: SignalChain) -> float:
    return float(levels(chain).clip_input_v_peak)


def swell(time: np.ndarray, hz: float) -> np.ndarray:
    """A tone that swells and sinks within 28 ms."""
    return np.sin(np.pi * np.clip(time / 0.028, 0, 1)) ** 2 * np.sin(2 * np.pi * hz * time)


def decibels_off(found: np.ndarray, wanted: np.ndarray) -> float:
    """The largest difference against the largest sample, dB."""
    return 20 * float(np.log10(np.abs(found - wanted).max() / np.abs(wanted).max()))


@pytest.mark.parametrize("keys", STAGES, ids=lambda keys: "-".join(map(str, keys.values())))
def test_it_is_what_the_time_domain_engine_says(keys: dict) -> None:
    """The follower clips itself first, the gain stage's edge is the input's ceiling unless that is out of the way."""
    chain = SignalChain(pickup_loss=0.0, **keys)
    linear, edge = LinearChain.of(chain.values), edge_v(chain)
    count = round(0.03 * RATE)
    time, fine = np.arange(count) / RATE, np.arange(count * FINER) / (RATE * FINER)
    cases = [(hz, db) for hz in PITCHES for db in (-6.0, 0.0)]
    waves = np.stack([edge * 10 ** (db / 20) * swell(fine, hz) for hz, db in cases])
    assembly = linear.assembly
    driven = {name: amplitude * waves for name, amplitude in assembly.drive.items()}
    run = transient(assembly.network, fine, driven, stored_at(assembly.network, linear.point))
    ceiling = chain.values.input_max
    wanted = np.clip(run.voltages[assembly.load] - linear.point.voltages[assembly.load], -ceiling, ceiling)
    for (hz, db), one in zip(cases, wanted, strict=True):
        found = clipped(linear, edge * 10 ** (db / 20) * swell(time, hz))
        straight = filtered(edge * 10 ** (db / 20) * swell(time, hz), linear.gain)
        one = resample(np.concatenate([one, one[::-1]]), 2 * count)[:count]
        assert decibels_off(found, one) < (-60 if db < 0 else -40), (hz, db)
        assert decibels_off(straight, one) > -45, "there is something to be found"


def test_small_it_is_the_linear_response_dielectric_loss_included() -> None:
    shape = pluck(SOUNDS["lowest"].voice, 147.0, 1.0)
    for stage in ("direct", "follower", "gain"):
        chain = SignalChain(stage=stage, pickup_loss=0.2)
        linear = LinearChain.of(chain.values)
        small = 1e-3 * edge_v(chain) * shape
        assert decibels_off(clipped(linear, small), filtered(small, linear.gain) + 1e-15) < -60


def aliases_db(signal: np.ndarray, hz: int) -> float:
    """The largest part of a steady sound of a whole number of Hz that is none of its overtones, against the tone."""
    spectrum = np.abs(np.fft.rfft(signal[-RATE // 2 :] * np.kaiser(RATE // 2, 16.0)))
    at = 2.0 * np.arange(len(spectrum))
    between = np.abs(at - np.round(at / hz) * hz) > 20
    return 20 * float(np.log10(spectrum[between].max() / spectrum.max()))


@pytest.mark.parametrize("keys", [{"stage": "direct"}, STAGES[0], STAGES[3]], ids=str)
def test_nothing_folds_down(keys: dict) -> None:
    """1 dB under the edge, and 3 dB over it, where there is more to fold; of primes, so that no alias hides."""
    chain = SignalChain(**keys)
    linear, edge = LinearChain.of(chain.values), edge_v(chain)
    time = np.arange(round(0.6 * RATE)) / RATE
    rise = np.sin(0.5 * np.pi * np.clip(time / 0.1, 0, 1)) ** 2
    for hz, db, most in ((1009, -1, -80), (5003, -1, -60), (1009, 3, -75)):
        tone = edge * 10 ** (db / 20) * rise * np.sin(2 * np.pi * hz * time)
        assert aliases_db(clipped(linear, tone), hz) < most, (hz, db)
    cut_at_the_rate = np.clip(rise * np.sin(2 * np.pi * 5003 * time), -0.7, 0.7)
    assert aliases_db(cut_at_the_rate, 5003) > -50, "folding would be seen"


@pytest.mark.parametrize("over_db", [6, 16])
@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_far_beyond_the_edge_it_has_no_click(stage: str, over_db: float) -> None:
    """A note three times, eight times too loud has no step that the network could not make."""
    chain = SignalChain(stage=stage)
    linear = LinearChain.of(chain.values)
    shape = edge_v(chain) * 10 ** (over_db / 20) * pluck(SOUNDS["lowest"].voice, 147.0, 1.0)
    found, straight = clipped(linear, shape), filtered(shape, linear.gain)
    assert np.isfinite(found).all() and found.shape == shape.shape
    assert np.abs(found).max() < 1.2 * chain.values.input_max
    # where the note is within a third of its edge again, it is what the linear network makes of it, softly bent
    late = slice(RATE * 9 // 10, None)
    assert np.abs(np.diff(found, 2))[late].max() < 1.5 * np.abs(np.diff(straight, 2))[late].max() + 1e-4


@pytest.mark.parametrize(
    "keys",
    [
        {"returns": "tap"}, {"returns": "divider", "supply_v": 12.0}, {"gate_stop": 100e3, "supply_r": 10e3},
        {"clamp": "rails", "clamp_part": "switching-diode"}, {"discs": "2p"}, {"resonance": (4000.0, 20.0, 0.3)},
        {"pad": (10e3, 1e3)},
    ],
    ids=str,
)  # fmt: skip
@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_whatever_is_built_is_followed(stage: str, keys: dict) -> None:
    chain = SignalChain(stage=stage, **{key.replace("returns", "return"): value for key, value in keys.items()})
    linear = LinearChain.of(chain.values)
    # a stage that does not work at rest has no edge
    shape = max(2.0 * edge_v(chain), 0.2) * pluck(SOUNDS["lowest"].voice, 147.0, 0.1)
    found, straight = clipped(linear, shape), filtered(shape, linear.gain)
    assert np.isfinite(found).all()
    assert 0.3 * np.abs(straight).max() < np.abs(found).max() < 2 * np.abs(straight).max()


def test_what_cannot_be_followed_is_said() -> None:
    linear = LinearChain.of(SignalChain(stage="gain").values)
    with pytest.raises(CircuitError, match=TOO_FAR):
        clipped(linear, 1e3 * pluck(SOUNDS["lowest"].voice, 147.0, 0.2), 500)
    with pytest.raises(CircuitError, match=r"a sound of 12\.5 s: up to 12 s"):
        clipped(linear, np.zeros(round((LONGEST_S + 0.5) * RATE)))
