"""The stages that can stand between pickup and cable: each one class in one file, listed in `register.STAGES`."""

from piezolab.chain.stages.register import all_stages, controls, stage_named
from piezolab.chain.stages.stage import Stage

__all__ = ["Stage", "all_stages", "controls", "stage_named"]
