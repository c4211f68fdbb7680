"""What cable and input do to a chain: every kind of input compared, one or two at a time, stage near or far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import response

ESSENTIAL_DB = 3.0  # the stage saves more than this of the lowest string: worth having
POINTLESS_DB = 0.5


@dataclass(frozen=True)
class InputRow:
    """One kind of input on this chain. Losses in dB (positive is lost), corners in Hz (nan: none), ratio at 1 kHz.

    loss_db: level at 1 kHz against the unloaded jack; low_note_loss_db: the lowest string against the same
    stage's mid-band without load; bare_low_note_db: the lowest string of the bare pickup there, re open
    circuit; bridging: |Z_in|/|Z_out|.
    """

    kind: str
    loss_db: float
    low_note_loss_db: float
    low_corner_hz: float
    high_corner_hz: float
    bridging: float
    level_v_peak: float
    ceiling_v_peak: float
    bare_low_note_db: float

    @property
    def clips(self) -> bool:
        """Whether hard playing exceeds what the input takes."""
        return self.level_v_peak > self.ceiling_v_peak


def unloaded(chain: SignalChain) -> SignalChain:
    """The chain with the lightest load that can be described, no pad and hardly any cable."""
    return chain.but(input="amplifier", pad=None, input_r=1e9, input_c=0.0, cable_m=0.0)


def level_1khz(chain: SignalChain) -> float:
    """Gain at 1 kHz, load over open circuit."""
    return float(np.abs(LinearChain.of(chain.values).gain(1000.0)))


def input_row(chain: SignalChain, kind: str) -> InputRow:
    """How one kind of input (of the catalogue) suits the chain; its pad is left as it is."""
    from piezolab.studies.output import impedances

    here = chain.but(input=(kind,), input_r=None, input_c=None, input_max=None, input_noise=None)
    found, free = response(here, np.array([1000.0])), response(unloaded(chain), np.array([1000.0]))
    bare = response(here.but(stage="direct"), np.array([1000.0]))
    values = here.values
    z_out = float(np.abs(impedances(here).output))
    z_in = 1 / abs(1 / values.input_r + 2j * np.pi * 1000.0 * values.input_c)
    return InputRow(
        kind,
        loss_db=_db(free.gain_1khz) - _db(found.gain_1khz),
        low_note_loss_db=_db(free.midband_gain) - _db(found.low_note_gain),
        low_corner_hz=found.low_corner_hz,
        high_corner_hz=found.high_corner_hz,
        bridging=z_in / z_out,
        level_v_peak=found.gain_1khz * values.play_v,
        ceiling_v_peak=float(values.input_max),
        bare_low_note_db=_db(bare.low_note_gain),
    )


def compare_inputs(chain: SignalChain) -> tuple[InputRow, ...]:
    """Every kind of input of the catalogue, the one that loses most of the lowest string first."""
    rows = [input_row(chain, kind) for kind in catalogue.inputs()]
    return tuple(sorted(rows, key=lambda row: -row.low_note_loss_db))


@dataclass(frozen=True)
class Sweep:
    """Lengths in m, shape (L,); gain at 1 kHz and at the lowest string in dB re open circuit, shape (L,)."""

    length_m: np.ndarray
    level_db: np.ndarray
    low_note_db: np.ndarray


def sweep_length(chain: SignalChain, key: str, longest: float, points: int = 61) -> Sweep:
    """Level against the length of the pickup's lead (`lead_m`) or the output cable (`cable_m`), 0 to `longest` m."""
    if key not in ("lead_m", "cable_m"):
        raise KeyError(f"{key!r} is no length of a chain; take lead_m or cable_m")
    from piezolab.studies.response import low_note_hz

    length = np.linspace(0.0, longest, points)
    gain = np.abs(LinearChain.of(chain.values.but(**{key: length})).gain(np.array([1000.0, low_note_hz(chain)])))
    level = 20 * np.log10(np.maximum(gain, 1e-300))
    return Sweep(length, level[:, 0], level[:, 1])


@dataclass(frozen=True)
class Placement:
    """The same stage in the instrument, or in a box at the far end of the cable: dB re open circuit at 1 kHz
    and at the
    lowest string."""

    near_db: float
    near_low_note_db: float
    far_db: float
    far_low_note_db: float


def placement(chain: SignalChain) -> Placement:
    """Compare both places: far, the cable's capacitance hangs on the pickup's lead instead of on the stage's output."""
    values = chain.values
    hung = values.lead_m * values.lead_c + values.cable_m * values.cable_c
    near = response(chain, np.array([1000.0]))
    linear = LinearChain.of(values.but(lead_m=1.0, lead_c=hung, cable_m=0.0))
    from piezolab.studies.response import low_note_hz

    far = np.abs(linear.gain(np.array([1000.0, low_note_hz(chain)])))
    return Placement(_db(near.gain_1khz), _db(near.low_note_gain), _db(float(far[0])), _db(float(far[1])))


def worth_of_stage_db(chain: SignalChain) -> float:
    """How much of the lowest string the stage saves against the bare pickup, dB, each re its own mid-band."""
    if chain.stage == "direct":
        return 0.0
    grid = np.array([1000.0])
    with_stage, bare = response(chain, grid), response(chain.but(stage="direct"), grid)
    return with_stage.low_note_re_midband_db - bare.low_note_re_midband_db


def _db(ratio: float) -> float:
    return 20 * float(np.log10(ratio)) if ratio > 0 else float("-inf")
