"""Tasks of the chapter on level and clipping."""

from __future__ import annotations

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.level_figures import found
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask
from piezolab.studies.levels import levels


# -- tasks --------------------------------------------------------------------------------------------------------
def _first_to_clip() -> int:
    return ("cut-off", "triode", "input").index(str(levels(SignalChain(stage="gain")).clip_cause))


def _room(chain: SignalChain) -> tuple[bool, str]:
    of, _ = found(chain)
    if not chain.topology.powered or not float(of.output_v_peak) > 0:
        return False, "Not yet: it wants a stage that passes sound."
    room = float(of.input_headroom_db)
    if float(chain.play_v) < 1.0:
        return False, "Not like that: keep hard playing at 1 V or more."
    if room < 6:
        return False, f"Not yet: {room:.1f} dB of room. What clips first?".replace("-", "−")
    return True, f"Right: {room:.1f} dB of room."


TASKS = (
    NumberTask(
        "clip-dbu",
        "A stage puts out 1 V peak. How many dBu is that?",
        "0 dBu is 0.775 V rms; 1 V peak of a pure note is 0.707 V rms.",
        unit="dB",
        right=lambda: float(
            levels(SignalChain(stage="direct", input_r=1e9, input_c=0.0, cable_m=0.0, lead_m=0.0)).output_dbu
        ),
        within=0.06,
        explain="Levels in dBu count rms, clipping counts peaks.",
    ),
    PickTask(
        "clip-first",
        "The default gain stage into an instrument amplifier, played harder and harder: what clips first?",
        "Put the gain stage in and read the verdict.",
        options=("The transistor cuts off.", "The transistor runs out of voltage.", "The amplifier's input."),
        right=_first_to_clip,
        told=(
            "It has current to spare: look at the level that reaches the amplifier.",
            "It has volts to spare: look at the level that reaches the amplifier.",
            "A gain stage gives several volts, and the amplifier takes little more than one.",
        ),
    ),
    MakeTask(
        "clip-room",
        "Give hard playing of at least 1 V peak 6 dB of room before anything clips.",
        "Which side clips first, and why? The source resistor, the input and the transistor all have a say.",
        judge=_room,
    ),
)
