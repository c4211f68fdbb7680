"""The board on the page: at its true size, and folded the same larger; its list of leads is on the sheet."""

from __future__ import annotations

from piezolab.pages.how_do_i_build_it_and_check_it import sentences as say
from piezolab.pages.kit.blocks import bullets, paragraphs, table
from piezolab.sheets import board_words
from piezolab.sheets.layout_svg import layout_svg, scale_bar_svg
from piezolab.sheets.sheet_data import SheetData


def board(sheet: SheetData) -> str:
    """The lanes and the layout at its true size."""
    if not sheet.powered:
        return ""
    if sheet.layout is None:
        return paragraphs(sheet.layout_problem)
    found = sheet.layout
    behind = " The copper lies behind." if found.grid is not None else ""
    about = (
        f"{found.method.title.capitalize()}, {found.width:.0f} × {found.height:.0f} mm, seen from the parts' side."
        f"{behind} On paper it is at true size; on a screen lay a rule on the bar."
    )
    drawn = say.drawing(layout_svg(found, sheet.adapter), scale_bar_svg()) + _closely(sheet)
    return paragraphs(sheet.layout_problem) + drawn + paragraphs(about) + say.lanes(sheet)


def _closely(sheet: SheetData) -> str:
    """The board again, folded: as wide as there is room, its leads numbered, and what to heed."""
    layout, adapter = sheet.layout, sheet.adapter
    svg = layout_svg(layout, adapter, 2.0, numbers=True)
    said = [board_words.why(layout), board_words.guard_words(layout, adapter)]
    said += board_words.doing(layout, sheet.build.base, adapter)
    said.append(board_words.plugged_words(sheet.chain, layout))
    inside = f'<div class="pz-scroll"><div class="pz-paper pz-large">{svg}</div></div>'
    inside += bullets([words for words in said if words])
    cut = board_words.cutting_rows(layout, adapter)
    if cut:
        inside += table(("strip", "length", "left edge at", "lower edge at"), cut, board_words.tape_words(layout))
    return f'<details class="pz-small-fold"><summary>larger, leads numbered</summary>{inside}</details>'
