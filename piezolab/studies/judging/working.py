"""Whether a stage works: at rest, with other parts of the type, and down to a spent battery."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.bias import Bias, bias, bias_of
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.population import builds

PARTS = 400  # drawn of the type
SPREAD = 0.98  # of the parts lie between the 1st and the 99th percentile


@dataclass(frozen=True)
class Working:
    """Working means: every transistor in saturation with a quiet gate.

    at_rest, spent: the operating points of the chain's own transistor at the supply voltage and at the battery's end
    (None with an adapter); life: it works there and with a fresh battery.
    """

    chain: SignalChain
    at_rest: Bias
    spent: Bias | None
    life: bool

    @property
    def rest(self) -> bool:
        """Whether it works at the chain's supply voltage."""
        return bool(self.at_rest.works)

    @cached_property
    def share(self) -> float:
        """Of the type's parts those that work all that time; what was measured stays as measured."""
        many = builds(self.chain, PARTS)
        good: np.ndarray | bool = True
        for supply_v in _supplies(self.chain):
            good = good & bias_of(many.but(supply_v=supply_v)).works
        return float(np.mean(good))

    @property
    def spread(self) -> bool:
        """Whether the type's parts from the 1st to the 99th percentile work all that time."""
        return self.share >= SPREAD


def working(chain: SignalChain) -> Working | None:
    """None with no stage."""
    at_rest = bias(chain)
    if at_rest is None:
        return None
    _, *ends = (bias_of(chain.values.but(supply_v=supply_v)) for supply_v in _supplies(chain))
    return Working(chain, at_rest, ends[1] if ends else None, all(bool(at.works) for at in (at_rest, *ends)))


def _supplies(chain: SignalChain) -> list[float]:
    """The chain's voltage, then that of a fresh battery and of a spent one."""
    ends = battery_range(chain)
    return [chain.supply_v] if ends is None else [chain.supply_v, *ends[:2]]
