"""Stages of a contributor's own on sheets and in every chapter, with all that folds opened.

Nothing here depends on how many parts are drawn of a type: few are, in the long run as many as everywhere.
"""

import os
import re
from collections.abc import Iterator
from functools import partial
from importlib import import_module
from typing import Any

import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.pages.kit.describe import applies
from piezolab.pages.kit.sections import Foldable
from piezolab.pages.what_shall_i_build_from_my_drawer import chapter as drawer
from piezolab.sheets.build_sheet import build_sheet
from piezolab.sheets.schematic import schematic_svg, schematic_text
from piezolab.studies.board.layout import layout
from piezolab.studies.choosing import other_types
from piezolab.studies.faults import making
from piezolab.studies.linear import LinearChain
from piezolab.studies.metering import first_power
from piezolab.studies.metering.board_under_meter import under_meter
from piezolab.studies.metering.expected import meter_volts
from tests.chain.own_stages import NoCapacitor, OtherNames, SunkFollower, Tandem, known

POWERED = (SunkFollower, Tandem, OtherNames, NoCapacitor)
KEYS = [stage.key for stage in POWERED]
CHAPTERS = (
    "where_does_the_bass_go", "will_this_transistor_do", "what_do_cable_and_input_change",
    "who_makes_the_hiss_and_the_hum", "how_loud_before_it_clips", "what_shall_i_build_from_my_drawer",
    "how_do_i_build_it_and_check_it", "where_is_the_fault", "did_it_do_what_was_predicted",
)  # fmt: skip


@pytest.fixture(autouse=True, scope="module")
def registered() -> Iterator[None]:
    with known(*POWERED), pytest.MonkeyPatch.context() as patch:
        if not os.environ.get("PIEZOLAB_LONG"):
            patch.setattr(first_power, "BUILDS", 60)
            patch.setattr(other_types, "_PARTS", 20)
            patch.setattr(making, "SIZE", 48)
        yield


@pytest.mark.parametrize("key", KEYS)
def test_sheets(key: str) -> None:
    chain = SignalChain(stage=key)
    drawn, told, sheet = schematic_svg(chain), schematic_text(chain), build_sheet(chain)
    board = assemble(chain.values).where("board")
    placed = {part.name for part in layout(chain).parts}
    for part in board:
        assert part.name in drawn and f"{part.name}, " in told and part.name in placed and part.name in sheet
    volts = {reading.lane: reading.expected for reading in meter_volts(under_meter(chain))}
    point = LinearChain.of(chain.values).point
    for lane, expected in volts.items():
        if lane in point.voltages and lane not in ("pickup", "divider", "jack"):  # there the meter itself loads much
            assert expected.low <= float(point.voltage(lane)) <= expected.high


def opened(widget: Any) -> list[str]:
    """All texts of a page, everything that folds opened first."""
    texts, todo, seen = [], [widget], set()
    while todo:
        each = todo.pop()
        if id(each) in seen:
            continue
        seen.add(id(each))
        if isinstance(each, Foldable) and each.folded:
            each.opened = True
        texts.append(str(getattr(each, "content", "")))
        todo += getattr(each, "children", ())
    return texts


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("chapter", CHAPTERS)
def test_every_chapter(key: str, chapter: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drawer, "tolerance", partial(drawer.tolerance, size=100))
    made = import_module(f"piezolab.pages.{chapter}").make(f"stage={key}")
    assert made.state.chain == SignalChain(stage=key) and not made.state.trouble
    texts = opened(made.widget)
    assert len(" ".join(texts)) > 2000
    for text in texts:
        assert "went wrong" not in text and "could not be worked out" not in text
        assert not re.search(r"\b(nan|inf|None)\b", re.sub(r"<(style|svg).*?</\1>", "", text, flags=re.S)), text[:300]


def test_a_chapter_shows_what_sets_the_current() -> None:
    """Where it has the source resistor among its own few controls, it has the sink's for a stage over a sink."""
    made = import_module("piezolab.pages.how_loud_before_it_clips.chapter").make("stage=sunk")
    assert made.chapter.own == ("play_v", "input", "source_r", "sink_r", "steady_r", "supply_v")
    shown = [key for key in made.chapter.own if applies(key, made.state.chain)]
    assert shown == ["play_v", "input", "sink_r", "supply_v"]
    assert not applies("sink_r", SignalChain())
