"""A chapter's curve as a plotly figure of one's own: with its colours in it, to keep, edit and save.

On a page the same curve is drawn by the page's own plot and takes its colours from the page's style (`kit.plot`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from importlib import import_module
from typing import TYPE_CHECKING, Any

from piezolab.chain import SignalChain
from piezolab.chapters import find_chapters
from piezolab.location import notebooks_dir

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

_FROM_THE_PAGE = re.compile(r"var\(--[\w-]+,\s*([^)]+\)?)\)")
_GRID = "#d9d9d9"
_AXIS = {"gridcolor": _GRID, "zerolinecolor": _GRID, "linecolor": _GRID, "tickcolor": _GRID, "automargin": True}
#: What plot.js gives a figure on a light page.
LOOK = {
    "paper_bgcolor": "#ffffff",
    "plot_bgcolor": "#ffffff",
    "font": {"color": "#1c1c1c", "size": 13},
    # Okabe and Ito's colour-blind-safe set, strongest contrast first.
    "colorway": ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9"],
    "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
    "title": {"automargin": True, "yref": "container", "x": 0.01, "y": 0.98, "yanchor": "top"},
    "xaxis": {**_AXIS, "ticklabelstandoff": 4},
    "yaxis": _AXIS,
}


def curve(chapter: str, chain: SignalChain | None = None, *, kept: SignalChain | None = None) -> Figure:
    """The curve that a chapter draws for a chain, beside that of the kept chain where the chapter compares.

    chapter: word of its address, such as ``where-does-the-bass-go``; chain: the default chain if none is given. The
    figure depends on no page: `update_layout`, `add_scatter` and `write_html` do what plotly says they do.

    Raises ValueError on another chapter, or on a chain without a stage where the chapter is about one; CircuitError
    where the chain cannot be worked out.
    """
    slugs = [found.slug for found in find_chapters(notebooks_dir())]
    if chapter not in slugs:
        raise ValueError(f"chapter: {str(chapter)[:40]!r} is not known; allowed is {', '.join(slugs)}.")
    about = import_module(f"piezolab.pages.{chapter.replace('-', '_')}.chapter").CHAPTER
    chain = SignalChain() if chain is None else chain
    for one in (chain, kept):
        if about.needs_stage and one is not None and not one.topology.powered:
            raise ValueError(f"stage: {one.stage!r} is none; allowed for {chapter} is a chain that has one.")
    view = about.view(chain, kept, True)

    from plotly import graph_objects as go

    traces = [{key: value for key, value in trace.items() if key != "meta"} for trace in view.traces]
    layout = go.Layout(template={"layout": LOOK}, **_own(view.layout))
    return go.Figure(_own(traces), layout)


def _own(value: Any) -> Any:
    """The same with each colour of the page's style replaced by the one that it has on a light page."""
    if isinstance(value, str):
        return _FROM_THE_PAGE.sub(r"\1", value)
    if isinstance(value, Mapping):
        return {key: _own(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_own(item) for item in value]
    return value
