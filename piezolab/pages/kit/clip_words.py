"""Words for what clips first: the same on every page."""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.pages.kit.battery_words import volts
from piezolab.studies.judging.edges import ClipEdges

CAUSES = {
    "cut-off": "the transistor runs out of current and cuts off: one side of each swing is flattened",
    "triode": "the transistor runs out of voltage: one side of each swing is squashed",
    "gate": "the gate starts to conduct: a rasp on hard strokes, and the note ducks after them",
    "clamp": "the clamp at the gate begins to hold: both sides are flattened",
    "input": "the input you plug into takes no more: both sides are flattened, harshly",
}
ASSUMED = "What the input takes is typical of its kind, not measured on yours."


def cause_words(chain: SignalChain, cause: str, transistor: str) -> str:
    """What clips; with several transistors, which."""
    names = {part.name: part.label for part in assemble(chain.values).parts if part.kind == "jfet"}
    words = CAUSES[cause]
    if len(names) < 2 or transistor not in names:
        return words
    who = f"the {names[transistor]} {transistor}"
    return words.replace("the transistor", who).replace("the gate", f"the gate of {who}")


def stage_edge_sentences(edges: ClipEdges) -> list[str]:
    """Up to which stroke the stage alone does not clip, and what the input makes of that."""
    said, play = [], volts(edges.play_v)
    if math.isfinite(edges.stage_v):
        if edges.stage_v >= edges.play_v:
            edge = volts(edges.stage_v)
            said.append(f"The stage alone does not clip up to strokes of {edge}; your hardest makes {play}.")
        else:
            said.append(f"But strokes over {volts(edges.stage_v)} clip in the stage; your hardest makes {play}.")
    if edges.input_first:
        typical = " (typical of its kind, not yours)" if edges.assumed else ""
        said.append(f"The input you plug into clips sooner, from {volts(edges.chain_v)} on{typical}.")
    return said
