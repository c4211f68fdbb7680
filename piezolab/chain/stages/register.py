"""Which stages there are, in which order, and the controls that they have together.

The order of the tuple is that of choice and of nothing else: a control's common default is its own, its place in the
link hangs on its name. So a new stage, wherever it is put, bends no link that is already in the world.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from piezolab.chain.parameter import Parameter
from piezolab.chain.stages.direct import Direct
from piezolab.chain.stages.driven_follower import DrivenFollower
from piezolab.chain.stages.follower import Follower
from piezolab.chain.stages.gain import Gain
from piezolab.chain.stages.shared_controls import SHARED
from piezolab.chain.stages.stage import Stage
from piezolab.chain.stages.steady_follower import SteadyFollower

#: Every stage that is known, in the order in which it is offered.
STAGES: tuple[Stage, ...] = (Direct(), Follower(), Gain(), SteadyFollower(), DrivenFollower())


def all_stages() -> Mapping[str, Stage]:
    """Stages by key, in the order of `STAGES`.

    Raises ValueError on a key that is taken, on a default that its control does not take or that has no control, and
    where two stages mean different controls by one key.
    """
    return _known(STAGES)[0]


def stage_named(key: str) -> Stage:
    """The stage of that key. Raises KeyError."""
    return _known(STAGES)[0][key]


def controls() -> tuple[Parameter, ...]:
    """Controls of all stages, each once, with its common default, in the link's order: the shared ones as they are
    listed, then those of stages' own by name."""
    return _known(STAGES)[1]


@lru_cache(maxsize=8)  # asked for at each look at a chain
def _known(stages: tuple[Stage, ...]) -> tuple[Mapping[str, Stage], tuple[Parameter, ...]]:
    table: dict[str, Stage] = {}
    meant = {control.key: control for control in SHARED}
    for stage in stages:
        if stage.key in table:
            raise ValueError(f"{stage.key}: there is a stage of that key already")
        table[stage.key] = stage
        for control in stage.controls:
            if meant.setdefault(control.key, control) != control:
                raise ValueError(f"{stage.key}: control {control.key!r} is not what others mean by that key")
            value = stage.defaults.get(control.key, control.default)
            if value is not None or not control.optional_from:
                control.check(value)
        for key in stage.defaults:
            if not stage.has(key):
                raise ValueError(f"{stage.key}: a default for {key!r}, which is not among its controls")
    own = sorted(meant.keys() - {control.key for control in SHARED})
    return MappingProxyType(table), (*SHARED, *(meant[key] for key in own))
