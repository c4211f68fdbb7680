"""The stages that can stand between pickup and cable. Each is one class in one file, registered here by its import."""

from piezolab.chain.stages import direct, follower, gain  # noqa: F401  (they register themselves)
from piezolab.chain.stages.stage import Stage, all_stages, controls, register, stage_named

__all__ = ["Stage", "all_stages", "controls", "register", "stage_named"]
