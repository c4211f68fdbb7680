"""What paper and page say of the board: addresses, cutting list, notes at leads; the drawings' lettering; the file."""

from __future__ import annotations

import re
from itertools import combinations
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from piezolab.chain.link import from_link
from piezolab.cli import main
from piezolab.sheets import board_words as say
from piezolab.sheets.board_pages import board_file
from piezolab.sheets.board_picture import Picture
from piezolab.sheets.further_pages import further_pages
from piezolab.sheets.layout_lettering import LETTER, Lettering
from piezolab.sheets.layout_svg import layout_svg
from piezolab.sheets.lead_places import address, in_order_of_work, letter
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board.layout import METHODS, Options, layout
from piezolab.studies.board.plugged_stray import plugged_stray
from piezolab.studies.board.tape_list import tape_length, tape_strips
from piezolab.studies.board_as_built import BoardAsBuilt

LARGE = "return=divider&gate_stop=1k&drain_r=1k&supply_r=1k&bypass_c=10u&bypass_part=0.5"
SVG = "{http://www.w3.org/2000/svg}"


def found(link: str, method: str):
    return layout(from_link(link), Options(method=method))


def test_addresses_count_holes_from_the_left_and_strips_from_the_top() -> None:
    board = found("stage=gain", "stripboard")
    for lane in board.lanes:
        strips_above = round((board.height - lane.strips[0][0][1]) / 2.54 - 0.5)
        for part in board.parts:
            for node, (x, y) in zip(part.lanes, part.leads, strict=True):
                if node == lane.node:
                    column = int(re.search(r"\d+", address(board, (x, y))).group())
                    assert address(board, (x, y)) == f"{letter(strips_above)}{column}"
                    assert x == pytest.approx((column - 0.5) * 2.54, abs=1e-3)
    assert [letter(n) for n in (0, 25, 26, 51, 52)] == ["A", "Z", "AA", "AZ", "BA"]


@pytest.mark.parametrize("method", METHODS)
def test_every_lead_has_one_number_and_one_place(method: str) -> None:
    board = found("stage=gain", method)
    leads = in_order_of_work(board)
    assert [lead.number for lead in leads] == list(range(1, sum(len(part.leads) for part in board.parts) + 1))
    if method != "tape":
        places = [lead.address for lead in leads]
        assert len(set(places)) == len(places)
    kinds = [lead.part.shape for lead in leads]
    assert kinds.index("half-round") > kinds.index("bar") and kinds[-1] == "wire"


def test_cutting_list_is_the_tape_that_is_drawn() -> None:
    board = found("", "tape")
    root = ElementTree.fromstring(layout_svg(board))
    drawn = sorted(
        (float(line.get("x1")), board.height - float(line.get("y1")) - board.method.width / 2, float(line.get("x2")))
        for line in root.iter(f"{SVG}line") if line.get("class") == "lane"
    )  # fmt: skip
    listed = sorted((strip.left, strip.low, strip.left + strip.length) for strip in tape_strips(board))
    for (left, low, right), (at, under, end) in zip(drawn, listed, strict=True):
        assert (at, under) == pytest.approx((left, low), abs=0.06) and -0.1 < end - right < 1.1
    assert tape_length(board) >= sum(strip.length for strip in tape_strips(board))
    assert tape_strips(found("", "stripboard")) == () and tape_length(found("", "stripboard")) == 0
    wide = layout(from_link(""), Options(method="tape", lane_width=8))
    assert "8 mm wide" in say.tape_words(wide)


def test_holes_behind_tape_leave_nothing_to_cross() -> None:
    behind = layout(from_link("gate_r=100M"), Options(method="tape", joints="holes"))
    assert behind.crossings == () and behind.guard == "source"
    assert any("pricked holes" in words for words in say.doing(behind))
    assert any("Acrylic softens" in words for words in say.doing(behind, "acrylic"))


def test_a_sleeve_is_told_at_its_lead() -> None:
    board = found("gate_r=100M", "tape")
    assert board.choice.clean == 0
    (crossing,) = board.crossings
    notes = [row for row in say.lead_rows(board) if row[-1]]
    assert [(row[1], row[-1]) for row in notes] == [("RG", "sleeve it, over source")]
    assert crossing.part == "R_G" and "sleeve" in layout_svg(board)
    assert "source lane runs beside the gate" in say.guard_words(board)
    assert say.guard_words(found("", "tape")) == ""
    assert "has none" in say.guard_words(found("stage=gain&gate_r=100M", "breadboard"))


def test_cuts_and_links_are_told_by_their_holes() -> None:
    board = found("stage=gain", "stripboard")
    (cut,) = board.cuts
    assert any(f"Cut the strip at {address(board, cut)} " in words for words in say.doing(board))
    plugged = found("source_r=0&out_c=100u", "breadboard")
    links = [strip for lane in plugged.lanes for strip in lane.links]
    told = next(words for words in say.doing(plugged) if words.startswith("Links:"))
    assert told.count(" to ") == len(links) > 0


def test_breadboards_share_by_another_route() -> None:
    """15 nF and 30 pF of lead against 4 pF: -20 log10(1 + C/C_own); 9 V through 10 Gohm into 4.7 Mohm."""
    few = plugged_stray(from_link("pickup_c=15n&lead_m=0.3&lead_c=100p"))
    assert few.level_db == pytest.approx(-8.685889638 * 4e-12 / 15.03e-9, rel=1e-3) and not few.matters
    assert few.lift_v == pytest.approx(9 * 4.7e6 / 10.0047e9)
    assert plugged_stray(from_link("pickup_c=50p&lead_m=0")).matters
    assert plugged_stray(from_link("gate_r=1G")).matters
    words = say.plugged_words(from_link(""), found("", "breadboard"))
    assert "Neither matters" in words and "contact first" in words
    assert say.plugged_words(from_link(""), found("", "wire")) == ""


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("link", ["", "stage=gain", LARGE])
def test_lettering_is_two_millimetres_and_touches_no_other(link: str, method: str) -> None:
    """At true size names and legs; at twice that the numbers too."""
    board = found(link, method)
    for scale, numbers in ((1.0, False), (2.0, True)):
        picture, lettering = Picture(board, scale=scale, numbers=numbers), Lettering()
        picture.busy(lettering)
        picture.edges(lettering, False)
        picture.names(lettering)
        for a, b in combinations(lettering.taken, 2):
            deep = min(min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1]))
            assert deep < 0.05, (method, scale, a, b)
        svg = layout_svg(board, scale=scale, numbers=numbers)
        assert LETTER >= 2.0 and {float(size) for size in re.findall(r'font-size="([\d.]+)"', svg)} == {LETTER}


def test_the_file_has_layers_named_by_meaning() -> None:
    run = CliRunner().invoke(main, ["board", "stage=gain", "--method", "stripboard"])
    assert run.exit_code == 0
    root = ElementTree.fromstring(run.output.encode())
    assert root.get("width").endswith("mm")
    layers = [group.get("id") for group in root.iter(f"{SVG}g") if group.get("id")]
    assert layers == ["board", "copper", "holes", "cuts", "parts", "lettering"]
    assert CliRunner().invoke(main, ["board", "stage=direct"]).exit_code == 1
    wrong = CliRunner().invoke(main, ["board", "", "--base", "stone"])
    assert wrong.exit_code == 2 and "base under copper tape (base): 'stone'" in wrong.stderr
    for side in ("copper", "template"):
        svg, _ = board_file(SheetData(from_link("stage=gain"), BoardAsBuilt()), side)
        assert ElementTree.fromstring(svg.encode()) is not None and 'id="lettering"' in svg


def test_copper_side_is_the_mirror_image() -> None:
    data = SheetData(from_link("stage=gain"), BoardAsBuilt(method="stripboard"))
    joints = {}
    for side in ("parts", "copper"):
        root = ElementTree.fromstring(board_file(data, side)[0].encode())
        spots = [circle for circle in root.iter(f"{SVG}circle") if circle.get("class") == "joint"]
        joints[side] = sorted((round(float(spot.get("cx")), 1), float(spot.get("cy"))) for spot in spots)
    wide = data.layout.width
    seen = sorted((round(wide - x, 1), y) for x, y in joints["parts"])
    for one, other in zip(seen, joints["copper"], strict=True):
        assert one == pytest.approx(other, abs=0.11)


def test_pages_of_the_board_are_on_the_sheet() -> None:
    pages = further_pages(SheetData(from_link("gate_r=100M"), BoardAsBuilt(method="tape")))
    assert pages.count('<section class="page further">') == 2
    for words in ("numbered in the order of work", "Cut the tape", "Template, true size", "Chosen from"):
        assert words in pages
    none = further_pages(SheetData(from_link("stage=direct")))
    assert none.count('<section class="page further">') == 1 and "numbered" not in none and "Template" not in none
    plugged = further_pages(SheetData(from_link(""), BoardAsBuilt(method="breadboard")))
    assert "numbered" in plugged and "Template" not in plugged and "joint is smooth" not in plugged
