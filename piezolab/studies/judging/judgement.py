"""One judgement of a chain: what it is worth, whether it fits, where it clips, how it sounds, thumps and lasts.

Every verdict, table and piece of advice reads it, so that no two of them can differ. Limits are stated where they are
used: worth in `worth`, thin in `thin`, what is heard of hum and hiss in `hum_and_hiss`, spread in `working`; those of
plugging in here. All of them are our own (common practice, no source). Each part is worked out when it is first asked
for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from piezolab.chain import SignalChain
from piezolab.studies.judging.bass_and_level import BassAndLevel, sound
from piezolab.studies.judging.edges import ClipEdges, clip_edges
from piezolab.studies.judging.hum_and_hiss import Loudness, loudness
from piezolab.studies.judging.life import Life, life
from piezolab.studies.judging.thin import ThinPart, thin_part
from piezolab.studies.judging.working import Working, working
from piezolab.studies.judging.worth import Worth, worth
from piezolab.studies.kept import kept
from piezolab.studies.phantom import Phantom, plug_in_power
from piezolab.studies.plugging import Plugging, plugging

STEP_V, SETTLE_S, DC_V = 0.1, 3.0, 50e-3  # most on plugging in, until settled, and that stays on the jack


@dataclass(frozen=True)
class Judgement:
    """Of one chain; each part is an object of its own with its units. None stands for what a chain does not have.

    working: does it work at rest, over spread and battery (None with no stage); edges: where it clips; bare, sound:
    bass and level of the bare pickup and of the chain as it is; worth: what the stage brings, a follower's where there
    is none; thin: the part that makes the stage thin; plug: thump, settling time and direct voltage at the jack (None
    with no stage); fed: what its inputs that feed microphones do to the output, by kind; loudness: hum and hiss on one
    scale; life: of the battery (None for an adapter and with no stage).
    """

    chain: SignalChain

    @cached_property
    def working(self) -> Working | None:
        return working(self.chain)

    @cached_property
    def edges(self) -> ClipEdges:
        return clip_edges(self.chain)

    @cached_property
    def bare(self) -> BassAndLevel:
        return sound(self.chain.but(stage="direct"))

    @cached_property
    def sound(self) -> BassAndLevel:
        return sound(self.chain)

    @cached_property
    def worth(self) -> Worth:
        return worth(self.chain)

    @cached_property
    def thin(self) -> ThinPart | None:
        return thin_part(self.chain)

    @cached_property
    def plug(self) -> Plugging | None:
        return plugging(self.chain)

    @cached_property
    def fed(self) -> dict[str, Phantom]:
        return plug_in_power(self.chain)

    @cached_property
    def loudness(self) -> Loudness:
        return loudness(self.chain)

    @cached_property
    def life(self) -> Life | None:
        return life(self.chain)

    @property
    def works(self) -> bool:
        """Whether sound can come through: with no stage always, else where the stage works at rest."""
        return self.working is None or self.working.rest

    @property
    def quiet_to_plug(self) -> bool:
        """Whether plugging in keeps to the limits of step, settling time and direct voltage."""
        plug = self.plug
        return plug is None or (
            abs(plug.step_v) <= STEP_V and plug.settle_s <= SETTLE_S and abs(plug.dc_v) <= DC_V
        )


@kept(4)
def judgement(chain: SignalChain) -> Judgement:
    """The judgement of a chain."""
    return Judgement(chain)
