"""Tasks and maths of the page on building and checking."""

from __future__ import annotations

from piezolab.chain import SignalChain
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask
from piezolab.quantity import show
from piezolab.studies.metering.board_under_meter import under_meter
from piezolab.studies.metering.expected import meter_volts
from piezolab.studies.metering.first_power import first_power
from piezolab.studies.metering.instrument import Meter

_HALF = {"return": "divider", "divider_r": 2e6, "gate_r": 3.3e6, "supply_v": 9.0}
_WANTED_V = 0.5  # across 1 kilohm: half a milliampere


def _gate_reading() -> float:
    built = under_meter(SignalChain(_HALF), schottky=False)
    rows = {row.lane: row.expected.typical for row in meter_volts(built, Meter())}
    return rows["pickup"]


def _shorted() -> int:
    clip = first_power(SignalChain()).faults[0]  # the battery's own two wires touch
    return {"harmless": 0, "low": 1, "full": 2}.get(clip.verdict, 3)


def _half_milliampere(chain: SignalChain) -> tuple[bool, str]:
    if not chain.topology.powered:
        return False, "Not yet: put a stage in first."
    reads = first_power(chain).healthy.typical
    told = f"a typical board shows {show(reads, 'V')} across the resistor"
    if abs(reads - _WANTED_V) <= 0.1 * _WANTED_V:
        return True, f"Right: {told}. What flows into the stage flows through it: one volt for each milliampere."
    return False, f"Not yet: {told}."


TASKS = (
    NumberTask(
        "build-loading",
        "A gate sits at half of 9 V, behind a divider of two 1 MΩ resistors and a gate resistor of 3.3 MΩ. What does a "
        "meter of 10 MΩ show there?",
        "The divider alone is 4.5 V behind 500 kΩ. With the gate resistor the meter sees 3.8 MΩ before it.",
        unit="V",
        right=_gate_reading,
        within=0.02,
        explain="The meter is the lower half of a divider; nothing is wrong with the board.",
    ),
    PickTask(
        "build-first-power",
        "First power: the 1 kΩ at the battery shows 9.2 V, the battery 9.3 V. What is it?",
        "All of the battery lies across the resistor: what is left for the board?",
        options=(
            "A healthy board: the resistor is meant to take the voltage.",
            "An open joint: nothing flows.",
            "A dead short: off, and find it by ohms.",
            "This test cannot tell.",
        ),
        right=_shorted,
        told=(
            "A healthy board takes a milliampere or less, and one milliampere makes one volt.",
            "With nothing flowing the resistor would show nothing.",
            "Behind the resistor nothing is left: without it the battery would heat up at once.",
            "Here it can: no healthy board draws nine milliamperes.",
        ),
    ),
    MakeTask(
        "build-current",
        "Change the build so that a typical board shows 0.5 V (within a tenth) across the 1 kΩ at first power.",
        "The transistor and its source resistor set the current. More resistance, less current.",
        judge=_half_milliampere,
    ),
)

MATHS = r"""
<p>A meter of $R_m$ on a node of open-circuit voltage $V$ behind a resistance $R$ reads</p>
<p>$$V_\mathrm{read} = V\,\frac{R_m}{R + R_m}$$</p>
<p>Every range here is solved from the nodal equations of the whole board with the meter attached, for 300 builds: 1 %
resistors, transistors drawn from their type, battery spent and fresh. It runs from the 1st to the 99th percentile and
is widened by what the meter itself may be out.</p>
<p>First power: current is the reading over $R = 1\,\mathrm{k\Omega}$. A dead short leaves at most $V^2/R$ in the
resistor; without it $V/r$ flows and $V^2/r$ heats the battery of inner resistance $r$. The waiting time is
$5\sum C_k R_k$, $R_k$ seen by each capacitor with the others open, which is at least five times the slowest time
constant.</p>
<p>Two recordings with $R_1 < R_2$ across a pickup whose whole capacitance is $C$, with $k$ the ratio of their squared
levels:</p>
<p>$$(\omega C)^2 = \frac{R_1^2 - k R_2^2}{R_1^2 R_2^2\,(k - 1)}$$</p>
<p>Lead, cable and input are then taken off $C$, and the input's resistance lies beside each resistor. A resistor
$R_s$ in series that lowers the level by $d$ decibels tells the input's $R_s/(10^{d/20} - 1)$: equal when it halves.</p>
<p>Sources: loading and half deflection as in any text on measurement; open-circuit time constants: R. D. Thornton et
al., Multistage Transistor Circuits (1965), from memory. Spread, tolerance and the meter's digits are common practice,
no source.</p>
"""
