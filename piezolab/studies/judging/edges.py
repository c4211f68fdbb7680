"""Where clipping begins: in the stage alone, and in the whole chain with the input that it is plugged into."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.levels import Levels, levels
from piezolab.studies.linear import LinearChain
from piezolab.studies.swing import swing


@dataclass(frozen=True)
class ClipEdges:
    """Open-circuit pickup voltages at which something clips, the nearer polarity, V; inf where nothing does.

    stage_v, stage_cause, stage_transistor: of the stage alone (inf and "" where there is none), with cable and input as
    its load; chain_v, chain_cause, chain_transistor: of the whole chain; cause: `cut-off`, `triode`, `gate` or `input`;
    assumed: the chain's edge is an input's ceiling that was not entered, but is what such inputs commonly take; play_v:
    hard playing, V peak.
    """

    stage_v: float
    stage_cause: str
    stage_transistor: str
    chain_v: float
    chain_cause: str
    chain_transistor: str
    assumed: bool
    play_v: float

    @property
    def headroom_db(self) -> float:
        """The chain's edge over hard playing, dB; negative where hard playing clips."""
        with np.errstate(divide="ignore"):
            return float(20 * np.log10(self.chain_v / self.play_v))

    @property
    def clips(self) -> bool:
        """Whether hard playing clips somewhere in the chain."""
        return self.chain_v < self.play_v

    @property
    def input_first(self) -> bool:
        """Whether the input clips before the stage does."""
        return self.chain_cause == "input"


def clip_edges(chain: SignalChain, whole: Levels | None = None) -> ClipEdges:
    """Edges of a chain at its supply voltage; whole: its levels, where they are known already."""
    whole = levels(chain) if whole is None else whole
    edge = float(whole.clip_input_v_peak)
    cause = str(whole.clip_cause) if np.isfinite(edge) else ""
    stage = (float("inf"), "", "")
    if chain.topology.powered:
        alone = swing(LinearChain.of(chain.values))
        if np.isfinite(alone.headroom):
            stage = (float(alone.headroom), str(alone.cause), str(alone.transistor))
    assumed = cause == "input" and chain.input_max is None
    transistor = str(whole.clip_transistor) if cause else ""
    return ClipEdges(*stage, edge, cause, transistor, assumed, float(whole.play_v))
