"""What cable and input do to a chain: every kind of input compared, one or two at a time, stage near or far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.studies.kept import kept
from piezolab.studies.levels import Levels, levels, levels_of
from piezolab.studies.linear import LinearChain
from piezolab.studies.output import free, output_impedance
from piezolab.studies.response import low_note_hz, response

POINTLESS_DB = 0.5  # so little more or less makes no difference
NOTICED_DB = 0.5  # a loss below this is called none
TREBLE_HZ = 5000.0  # the attack of a plucked string lives up to here and beyond
REASONS = ("resistance", "capacitance", "ceiling", "drive", "pad")
_LIGHT_R = 1e9  # ohm: no load to speak of
_FREE_MAX = 1e6  # V: no ceiling


@dataclass(frozen=True)
class InputRow:
    """One kind of input on this chain. Losses in dB (positive is lost), ratio at 1 kHz.

    kind: of the catalogue, "" where its values were entered; loss_db: level at 1 kHz against the unloaded jack;
    low_note_load_db, treble_load_db: what plugging in takes from the lowest string and at 5 kHz; bare_low_note_db:
    the lowest string of the bare pickup there, re open circuit; bridging: |Z_in|/|Z_out|; level_v_peak: hard
    playing at the input as if nothing clipped; overload_db: by how much hard playing is too loud for it, beyond
    what the stage clips by itself; alone_db: and by how much for the stage by itself; clip_cause: what clips first
    then; by: what each reason costs, dB.
    """

    kind: str
    loss_db: float
    low_note_load_db: float
    treble_load_db: float
    bridging: float
    level_v_peak: float
    ceiling_v_peak: float
    overload_db: float
    alone_db: float
    clip_cause: str
    bare_low_note_db: float
    by: dict[str, float]
    phantom: bool

    @property
    def clips(self) -> bool:
        """Whether hard playing is more than the input takes."""
        return self.overload_db > 0 and self.clip_cause == "input"

    @property
    def harm_db(self) -> float:
        """What ranks the inputs: the larger loss of lowest string and treble, and overload on top."""
        return max(self.low_note_load_db, self.treble_load_db, 0.0) + self.overload_db

    @property
    def why(self) -> str:
        """The largest of `REASONS`; "" where none costs enough to be noticed."""
        reason = max(self.by, key=lambda name: self.by[name])
        return reason if self.by[reason] >= NOTICED_DB else ""


def compare_inputs(chain: SignalChain) -> tuple[InputRow, ...]:
    """Every kind of input of the catalogue, the most harmful one first; pad and cable are left as they are."""
    return _alone_and_beside(chain)[0]


def input_row(chain: SignalChain, kind: str) -> InputRow:
    """How one kind of input (of the catalogue) suits the chain. Raises KeyError on an unknown kind."""
    row = catalogue.inputs()[kind]
    return _rows(chain, (kind,), np.array([row.r]), np.array([row.c]), np.array([row.max_v_peak]))[0]


@kept(4)
def this_input(chain: SignalChain) -> InputRow:
    """How the chain's own input suits it, entered values and a second input included."""
    values = chain.values
    of = (np.array([float(value)]) for value in (values.input_r, values.input_c, values.input_max))
    return _rows(chain, ("+".join(chain.input),), *of, loud=levels(chain))[0]


def beside(chain: SignalChain) -> tuple[InputRow, ...]:
    """The chain's own input with each kind of the catalogue beside it, one cable feeding both; most harmful first."""
    return _alone_and_beside(chain)[1]


@kept(4)
def _alone_and_beside(chain: SignalChain) -> tuple[tuple[InputRow, ...], tuple[InputRow, ...]]:
    """Each kind of the catalogue by itself and beside the chain's own input, all in one batch."""
    kinds, values = catalogue.inputs(), chain.values
    r, c, most = (np.array([getattr(k, of) for k in kinds.values()]) for of in ("r", "c", "max_v_peak"))
    both = 1 / (1 / r + 1 / values.input_r), c + values.input_c, np.minimum(most, values.input_max)
    loads = (np.concatenate(pair) for pair in zip((r, c, most), both, strict=True))
    rows = _rows(chain, (*kinds, *kinds), *loads)
    alone, beside_own = (
        tuple(sorted(some, key=lambda row: (-row.harm_db, -row.low_note_load_db)))
        for some in (rows[: len(kinds)], rows[len(kinds) :])
    )
    return alone, beside_own


def _rows(
    chain: SignalChain,
    kinds: tuple[str, ...],
    r: np.ndarray,
    c: np.ndarray,
    most: np.ndarray,
    loud: Levels | None = None,
) -> list[InputRow]:
    """All rows in one solve each of gain, clip edges and the bare pickup; r, c, most of shape (K,). loud: the levels,
    where they are known."""
    values, note = chain.values, low_note_hz(chain)
    at = np.array([note, 1000.0, TREBLE_HZ])
    loaded = values.but(input_r=r, input_c=c, input_max=most)
    gain, by = _gain_and_reasons(loaded, at)
    lost = _level(np.abs(free(values).gain(at))) - _level(gain)
    loud = levels_of(loaded, gain[:, 1]) if loud is None else loud
    over, alone = _overload(np.atleast_1d(loud.input_headroom_db), values)
    by["ceiling"] = np.where(loud.clip_cause == "input", over, 0.0)
    by["drive"] = np.where(loud.clip_cause == "input", 0.0, over)
    bare = _level(np.abs(LinearChain.of(chain.but(stage="direct").values.but(input_r=r, input_c=c)).gain(note)))
    z_in = 1 / np.abs(1 / r + 2j * np.pi * 1000.0 * c)
    bridging = z_in / np.abs(output_impedance(chain, 1000.0))
    rows = catalogue.inputs()
    return [
        InputRow(
            kind,
            loss_db=float(lost[n, 1]),
            low_note_load_db=float(lost[n, 0]),
            treble_load_db=float(lost[n, 2]),
            bridging=float(bridging[n]),
            level_v_peak=float(gain[n, 1] * values.play_v),
            ceiling_v_peak=float(most[n]),
            overload_db=float(over[n]),
            alone_db=float(alone),
            clip_cause=str(np.broadcast_to(loud.clip_cause, over.shape)[n]),
            bare_low_note_db=float(np.broadcast_to(bare, over.shape)[n]),
            by={reason: float(by[reason][n]) for reason in REASONS},
            phantom=any(rows[name].phantom for name in kind.split("+")),
        )
        for n, kind in enumerate(kinds)
    ]


def _gain_and_reasons(loaded: Values, at: np.ndarray) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Gain at some frequencies, shape (K, F), and what is won back without the resistance, without the capacitances,
    without the pad: dB, shape (K,), at whichever of the frequencies it is most."""
    r, c = loaded.input_r, loaded.input_c
    # one batch: as it is, without the resistance, without the capacitances
    three = loaded.but(
        input_r=np.stack([r, np.full(r.shape, _LIGHT_R), r]),
        input_c=np.stack([c, c, np.zeros(c.shape)]),
        cable_m=np.array([[loaded.cable_m], [loaded.cable_m], [0.0]]),
    )
    gain, *without = np.abs(LinearChain.of(three).gain(at))
    without.append(gain if loaded.pad is None else np.abs(LinearChain.of(loaded.but(pad=None)).gain(at)))
    won = (np.max(_level(better) - _level(gain), axis=-1) for better in without)
    return gain, dict(zip(("resistance", "capacitance", "pad"), won, strict=True))


def _overload(headroom_db: np.ndarray, values: Values) -> tuple[np.ndarray, float]:
    """How much too loud hard playing is for each load, dB, beyond what the stage clips with next to no load; and how
    much for that."""
    if np.all(headroom_db >= 0):
        return np.zeros(np.shape(headroom_db)), 0.0
    alone = np.minimum(levels_of(_lightly(values)).input_headroom_db, 0.0)
    with np.errstate(invalid="ignore"):  # a stage that clips at rest has no headroom to lose
        return np.maximum(np.nan_to_num(alone - headroom_db, nan=0.0, posinf=0.0), 0.0), float(-alone)


def _lightly(values: Values) -> Values:
    """The lightest load that clip edges can be looked for with."""
    return values.but(input_r=_LIGHT_R, input_c=0.0, input_max=_FREE_MAX, cable_m=0.0, pad=None)


def _level(ratio: np.ndarray | float) -> np.ndarray:
    return 20 * np.log10(np.maximum(ratio, 1e-300))


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
    length = np.linspace(0.0, longest, points)
    gain = np.abs(LinearChain.of(chain.values.but(**{key: length})).gain(np.array([1000.0, low_note_hz(chain)])))
    level = 20 * np.log10(np.maximum(gain, 1e-300))
    return Sweep(length, level[:, 0], level[:, 1])


@dataclass(frozen=True)
class Placement:
    """The same stage in the instrument, or in a box at the far end of the cable: dB re open circuit at 1 kHz and at
    the lowest string."""

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
    far = np.abs(linear.gain(np.array([1000.0, low_note_hz(chain)])))
    return Placement(_db(near.gain_1khz), _db(near.low_note_gain), _db(float(far[0])), _db(float(far[1])))


def _db(ratio: float) -> float:
    return 20 * float(np.log10(ratio)) if ratio > 0 else float("-inf")
