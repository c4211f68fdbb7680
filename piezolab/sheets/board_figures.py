"""A board as numbers, for whoever draws or cuts by program. Millimetres."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from piezolab.studies.board.layout import Layout
from piezolab.studies.board.tape_list import tape_strips


def board_figures(board: Layout) -> dict[str, Any]:
    """Lanes, parts, crossings, cuts, holes, strips of tape and what the choice was made by, as plain values."""
    return {
        "width_mm": board.width,
        "height_mm": board.height,
        "fits": board.fits,
        "columns": board.columns,
        "lanes": [
            {"node": lane.node, "strips_mm": lane.strips, "links_mm": lane.links, "leads": lane.leads}
            for lane in board.lanes
        ],
        "parts": [
            {"name": part.name, "lanes": part.lanes, "labels": part.labels, "leads_mm": part.leads}
            for part in board.parts
        ],
        "sleeved": list(board.sleeved),
        "crossings": [asdict(crossing) for crossing in board.crossings],
        "lengthened": board.lengthened,
        "guard": board.guard or None,
        "cuts_mm": board.cuts,
        "holes": board.grid,
        "tape": [asdict(strip) for strip in tape_strips(board)],
        "choice": asdict(board.choice),
    }
