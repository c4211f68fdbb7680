"""Every field of a lesson's file: where it stands and what it means. The guide's table and the reader go by this."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class FileField:
    """One field: its name, whether it is needed, an example as it is written, and what it means."""

    name: str
    needed: bool
    example: str
    means: str


HEAD = (
    FileField("title", True, '"Where the bass goes"', "shown in the lists and on the wall"),
    FileField("chapter", True, '"where-does-the-bass-go"', "the page that it is held on, by its address word"),
    FileField("minutes", True, "25", "how long it takes, 1 to 240"),
    FileField("chain", False, '"stage=direct&input=line"', "what is on the screen at first: a link's part after ?"),
    FileField("controls", True, '["input", "cable_m"]', "controls of steps that name none, by their keys in a link"),
    FileField("intro", True, '"The dulcimer sounds thin."', "the first screen"),
    FileField("closing", False, '"You have seen why."', "the last screen"),
    FileField("step", True, "[[step]]", "begins a step, on a line of its own, 1 to 20 times"),
)
STEP = (
    FileField("name", True, '"how-much"', "kept with a learner's progress: never change it"),
    FileField("kind", True, '"number"', "read, number (type a figure), pick (one of several) or make (reach a goal)"),
    FileField("text", False, '"The line falls to the left."', "up to 35 words; what is longer becomes a screen before"),
    FileField("question", True, '"How loud is the low D?"', "what is asked (not in a read step)"),
    FileField("hint", True, '"Read it above the curve."', "for who is stuck (not in a read step)"),
    FileField("explain", False, '"Half of it is gone."', "said after the right answer"),
    FileField("controls", False, '["input"]', "at most two; [] shows none"),
    FileField("start", False, '"stage=follower"', "how the step begins: only what differs from the lesson's chain"),
    FileField("shows", False, '["bias.v_s_v"]', "one or two figures to be read off, below the verdict"),
    FileField("guess", False, '"More cable: how loud is it then?"', "asked before the controls move: up, same, down"),
    FileField("guess_figure", False, '"loading.plateau_db"', "what the guess is about, where there is no figure"),
    FileField("guess_by", False, '"chips"', "chips, or dot: dragged on the lowest string's line of the plot"),
    FileField("figure", False, '"loading.low_note_re_open_db"', "number, pick: asked for, as in `piezolab figures`"),
    FileField("chain", False, '"cable_m=6"', "number: whose figure it is; only what differs from the step's start"),
    FileField("within", False, "0.05", "number: how far off is still right, as a part of the figure"),
    FileField("by_hand", False, "true", "number, pick: worked out without controls"),
    FileField("unit", False, '"Hz"', "number: no longer needed, the figure knows its unit"),
    FileField("compare", False, '"largest"', "pick: largest or smallest figure is right"),
    FileField("options", False, '[["mixer", "input=line"], ["pedal", "input=pedal"]]', "pick: 2 to 6, what differs"),
    FileField("goal", False, '[["stage.kind", "is", "follower"]]', "make: figures, with at least, at most or is"),
)  # fmt: skip


def guide_table(fields: tuple[FileField, ...]) -> str:
    """The fields as a table for the guide."""
    rows = [f"| `{one.name}` | {'yes' if one.needed else ''} | `{one.example}` | {one.means} |" for one in fields]
    return "\n".join(["| field | needed | example | what it is |", "| --- | --- | --- | --- |", *rows])
