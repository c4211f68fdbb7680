"""A figure of a page drawn once, as SVG, before the live plot is there: the same data, places and colours.

The picture has no size of its own. Lines are drawn in boxes of 1000 by 1000 that are stretched over their panel, words
and marks stand at percentages: so one picture serves every width, as the live plot does. What differs on a narrow plot
is in it twice, and the page's style shows one of the two.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Any

import numpy as np

#: Side of the box in which lines are drawn.
BOX = 1000.0
# beyond this a curve is drawn no farther: browsers lose their way among larger numbers
_FAR = 1e5
_DASHES = {"dash": "9 6", "dot": "2 5", "dashdot": "9 5 2 5", "longdash": "14 6"}
_MARGIN = {"l": 56, "r": 14, "t": 14, "b": 44}
_COLOUR = re.compile(r"var\(--[\w-]+(?:,\s*#[0-9A-Fa-f]{3,8})?\)|#[0-9A-Fa-f]{3,8}|rgba?\([\d., ]+\)")
_ANCHOR = {"left": "start", "right": "end", "center": "middle"}

Layout = Mapping[str, Any]


def can_draw(traces: Sequence[Mapping[str, Any]], layout: Layout) -> bool:
    """Whether it is a figure of lines and marks over axes whose ends are stated."""
    axes = [layout.get(_axis(trace, "y"), {}) for trace in traces] + [layout.get("xaxis", {})]
    lines = all(trace.get("type", "scatter") == "scatter" for trace in traces)
    return bool(traces) and lines and all("range" in axis for axis in axes)


def picture(traces: Sequence[Mapping[str, Any]], layout: Layout, narrow: Layout, label: str) -> str:
    """The figure as HTML with an SVG for each panel; empty, but of the right size, where it cannot be drawn.

    Parameters as of `Plot.set`.
    """
    slim = _merged(layout, narrow)
    panels = "".join(_panels(traces, layout, slim)) if can_draw(traces, layout) else ""
    names = _names(traces, layout) if panels else ""
    return (
        f'<div class="pz-still-plot" role="img" aria-label="{escape(label)}" style="{_sizes(layout, slim)}">{names}'
        f'<div class="pz-still-box" aria-hidden="true"><div class="pz-still-area">{panels}</div></div></div>'
    )


def _names(traces: Sequence[Mapping[str, Any]], layout: Layout) -> str:
    """Which curve is which, in a row above."""
    if not layout.get("showlegend", len(traces) > 1):
        return ""
    named = [trace for trace in traces if trace.get("showlegend", True) and trace.get("name")]
    items = "".join(f"<span>{_sign(trace)} {escape(str(trace['name']))}</span>" for trace in named)
    return items and f'<div class="pz-still-names" aria-hidden="true">{items}</div>'


def _sign(trace: Mapping[str, Any]) -> str:
    """What stands for a curve in the row of names."""
    mode = trace.get("mode", "lines")
    if "fillcolor" in trace:
        drawn = f'<rect width="32" height="10" style="fill:{_colour(trace["fillcolor"]) or "none"}"/>'
    elif "lines" in mode:
        drawn = f'<line x1="0" x2="32" y1="5" y2="5" {_stroke(trace["line"] if "line" in trace else {})}/>'
    else:
        return f'<svg width="14" height="14">{_mark(trace.get("marker", {}), "50%", "50%")}</svg>'
    return f'<svg width="32" height="10">{drawn}</svg>'


def _stroke(line: Mapping[str, Any]) -> str:
    dash = _DASHES.get(line.get("dash", ""), "")
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    colour = _colour(line.get("color", "")) or "currentcolor"
    return f'class="pz-still-curve" stroke-width="{line.get("width", 2):g}"{dashes} style="stroke:{colour}"'


def _sizes(layout: Layout, slim: Layout) -> str:
    said = []
    for name, of in (("", layout), ("n", slim)):
        margin = {**_MARGIN, **of.get("margin", {})}
        said += [f"--{name}{side}:{margin[side]:.0f}px" for side in "lrtb"]
        said.append(f"--{name}h:{of.get('height', 470):.0f}px")
    return ";".join(said)


def _merged(base: Layout, extra: Layout) -> dict[str, Any]:
    out = dict(base)
    for key, item in extra.items():
        both = isinstance(item, Mapping) and isinstance(out.get(key), Mapping)
        out[key] = _merged(out[key], item) if both else item
    return out


def _axis(trace: Mapping[str, Any], letter: str) -> str:
    return letter + "axis" + str(trace.get(f"{letter}axis", letter))[1:]


# -- panels -----------------------------------------------------------------------------------------------------
def _panels(traces: Sequence[Mapping[str, Any]], layout: Layout, slim: Layout) -> Iterator[str]:
    names = sorted({_axis(trace, "y") for trace in traces})
    for name in names:
        mine = [trace for trace in traces if _axis(trace, "y") == name]
        y, slim_y = layout[name], slim.get(name, {})
        low, high = y.get("domain", (0, 1))
        gone = slim_y.get("visible", True) is False
        slim_low, slim_high = slim_y.get("domain", (low, high))
        place = f"--y:{100 * (1 - high):g}%;--ht:{100 * (high - low):g}%;" + (
            "" if gone else f"--ny:{100 * (1 - slim_high):g}%;--nht:{100 * (slim_high - slim_low):g}%"
        )
        frames = []
        for kind, of in (("pz-still-wide", layout), ("pz-still-slim", slim)):
            if not (gone and of is slim):
                inside = "".join((_grid(of, name), _x_words(of, name, names), _words(of, name, names)))
                frames.append(f'<g class="{kind}">{inside}</g>')
        bands = "".join(_band(edge, other, layout["xaxis"], y) for edge, other in zip(mine[1:], mine, strict=False))
        drawn = bands + "".join(_trace(trace, layout["xaxis"], y) for trace in mine)
        yield (
            f'<div class="pz-still-panel{" pz-still-wide" if gone else ""}" style="{place}">'
            f'<svg width="100%" height="100%" focusable="false">{"".join(frames)}{drawn}</svg></div>'
        )


def _at(value: float, axis: Layout) -> float:
    """Where on an axis, 0 to 1 from its first end."""
    first, last = axis["range"]
    if axis.get("type") == "log":
        value = math.log10(value) if value > 0 else -math.inf
    return (value - first) / (last - first)


def _percent(share: float) -> str:
    return f"{100 * share:.2f}%"


def _ticks(axis: Layout) -> list[tuple[float, str]]:
    """Places, 0 to 1, and words."""
    first, last = (float(end) for end in axis["range"])
    if "tickvals" in axis:
        words = axis.get("ticktext", axis["tickvals"])
        found = [(_at(v, axis), str(t)) for v, t in zip(axis["tickvals"], words, strict=True)]
        return [(place, word) for place, word in found if -1e-6 <= place <= 1 + 1e-6]
    low, high = min(first, last), max(first, last)
    step = float(axis.get("dtick", 0)) or _step(high - low)
    values = [n * step for n in range(math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6) + 1)]
    log = axis.get("type") == "log"
    return [((v - first) / (last - first), _power(v) if log else f"{v:g}".replace("-", "−")) for v in values]


def _step(span: float) -> float:
    """One of 1, 2, 5 times a power of ten: some five of it make the span."""
    rough = span / 5
    size = 10.0 ** math.floor(math.log10(rough))
    return next(size * n for n in (1, 2, 5, 10) if rough <= size * n * 1.001)


def _power(exponent: float) -> str:
    whole = math.floor(exponent / 3 + 1e-9)
    return f"{10 ** (exponent - 3 * whole):g}" + {-3: "n", -2: "µ", -1: "m", 1: "k", 2: "M", 3: "G"}.get(whole, "")


def _grid(layout: Layout, name: str) -> str:
    y = layout[name]
    parts = []
    for at, word in _ticks(y):
        up = _percent(1 - at)
        parts.append(f'<line class="pz-still-grid" x1="0" x2="100%" y1="{up}" y2="{up}"/>')
        parts.append(f'<text class="pz-still-tick" x="-5" y="{up}" dy="0.35em" text-anchor="end">{escape(word)}</text>')
    parts += [f'<line class="pz-still-grid" x1="{_percent(at)}" x2="{_percent(at)}" y1="0" y2="100%"/>'
              for at, _ in _ticks(layout["xaxis"])]  # fmt: skip
    for shape in layout.get("shapes", ()):
        if shape.get("x0") == shape.get("x1") and 0 <= _at(shape["x0"], layout["xaxis"]) <= 1:
            at = _percent(_at(shape["x0"], layout["xaxis"]))
            parts.append(f'<line class="pz-still-note" x1="{at}" x2="{at}" y1="0" y2="100%"/>')
    title, left = y.get("title", {}).get("text", ""), {**_MARGIN, **layout.get("margin", {})}["l"]
    parts.append(
        f'<svg x="0" y="50%" overflow="visible"><text class="pz-still-tick" transform="translate({12 - left},0) '
        f'rotate(-90)" text-anchor="middle">{escape(title)}</text></svg>'
    )
    return "".join(parts)


def _x_words(layout: Layout, name: str, names: Sequence[str]) -> str:
    """The words below the panel on which the frequency, or what else goes across, is written."""
    x = layout["xaxis"]
    here = "yaxis" + str(x.get("anchor", names[0][4:] or "y"))[1:] if len(names) > 1 else name
    if here != name:
        return ""
    below = 'y="100%" dy="1.25em" text-anchor="middle"'
    parts = [f'<text class="pz-still-tick" x="{_percent(at)}" {below}>{escape(word)}</text>' for at, word in _ticks(x)]
    title = escape(x.get("title", {}).get("text", ""))
    parts.append(f'<text class="pz-still-tick" x="50%" y="100%" dy="2.45em" text-anchor="middle">{title}</text>')
    return "".join(parts)


def _words(layout: Layout, name: str, names: Sequence[str]) -> str:
    """What is written into the panel: the strings' names at the top of the first, what belongs to its own axis."""
    parts = []
    for note in layout.get("annotations", ()):
        over = note.get("yref", "paper") == "paper"
        if name != (names[0] if over else "yaxis" + str(note["yref"])[1:]):
            continue
        x = layout["xaxis"]
        across = note["x"] if note.get("xref") == "paper" else (note["x"] - x["range"][0]) / np.ptp(x["range"])
        up = note["y"] if over else (note["y"] - layout[name]["range"][0]) / np.ptp(layout[name]["range"])
        dy = {"top": "1em", "middle": "0.35em"}.get(note.get("yanchor", "bottom"), "-0.3em")
        colour = _colour(note.get("font", {}).get("color", ""))
        turned = note.get("textangle")
        turn = f' transform="rotate({turned:g})"' if turned else ""
        parts.append(
            f'<svg x="{_percent(across)}" y="{_percent(1 - up)}" overflow="visible">'
            f'<text class="pz-still-word" dx="{note.get("xshift", 0):g}" y="{-note.get("yshift", 0):g}" dy="{dy}"'
            f'{turn} text-anchor="{_ANCHOR[note.get("xanchor", "center")]}"{colour and f" style=fill:{colour}"}>'
            f"{escape(str(note['text']))}</text></svg>"
        )
    return "".join(parts)


# -- what is measured or worked out -----------------------------------------------------------------------------
def _colour(text: str) -> str:
    """A colour of the page's style or a plain one; anything else is none."""
    return text.replace(" ", "") if isinstance(text, str) and _COLOUR.fullmatch(text) else ""


def _trace(trace: Mapping[str, Any], x: Layout, y: Layout) -> str:
    mode = trace.get("mode", "lines")
    return (_line(trace, x, y) if "lines" in mode else "") + (_marks(trace, x, y) if "markers" in mode else "")


def _line(trace: Mapping[str, Any], x: Layout, y: Layout) -> str:
    line = trace.get("line", {})
    if not line.get("width", 2):
        return ""
    return (
        f'<svg width="100%" height="100%" viewBox="0 0 {BOX:.0f} {BOX:.0f}" preserveAspectRatio="none">'
        f'<path d="{_path(trace, x, y)}" {_stroke(line)}/></svg>'
    )


def _band(edge: Mapping[str, Any], other: Mapping[str, Any], x: Layout, y: Layout) -> str:
    """What lies between a curve and the one before it, where it is to be filled."""
    if edge.get("fill") != "tonexty":
        return ""
    back = {"x": np.asarray(other["x"])[::-1], "y": np.asarray(other["y"])[::-1]}
    around = _path(edge, x, y) + _path(back, x, y).replace("M", "L", 1) + "Z"
    return (
        f'<svg width="100%" height="100%" viewBox="0 0 {BOX:.0f} {BOX:.0f}" preserveAspectRatio="none">'
        f'<path d="{around}" style="fill:{_colour(edge.get("fillcolor", "")) or "none"}"/></svg>'
    )


def _path(trace: Mapping[str, Any], x: Layout, y: Layout) -> str:
    across, up = np.asarray(trace["x"], float), np.asarray(trace["y"], float)
    first, last = x["range"]
    if x.get("type") == "log":
        with np.errstate(divide="ignore", invalid="ignore"):
            across = np.log10(across)
    if y.get("type") == "log":
        with np.errstate(divide="ignore", invalid="ignore"):
            up = np.log10(up)
    h = (across - first) / (last - first) * BOX
    v = BOX - (up - y["range"][0]) / (y["range"][1] - y["range"][0]) * BOX
    h, v = np.clip(h, -_FAR, _FAR), np.clip(v, -_FAR, _FAR)
    words, pen = [], "M"
    for a, b, there in zip(h, v, np.isfinite(h) & np.isfinite(v), strict=True):
        if there:
            words.append(f"{pen}{a:.1f} {b:.1f}")
            pen = "L"
        else:
            pen = "M"
    return "".join(words)


def _marks(trace: Mapping[str, Any], x: Layout, y: Layout) -> str:
    marker = trace.get("marker", {})
    faint = f' opacity="{marker["opacity"]:g}"' if "opacity" in marker else ""
    parts = []
    for a, b in zip(trace["x"], trace["y"], strict=True):
        h, v = _at(float(a), x), _at(float(b), y)
        if 0 <= h <= 1 and 0 <= v <= 1:
            parts.append(_mark(marker, _percent(h), _percent(1 - v)))
    return f"<g{faint}>{''.join(parts)}</g>" if parts else ""


def _mark(marker: Mapping[str, Any], x: str, y: str) -> str:
    """A marker: an upright stroke, or a disc, open or full, for every other kind."""
    colour = _colour(marker.get("color", "")) or "currentcolor"
    radius, symbol = float(marker.get("size", 8)) / 2, str(marker.get("symbol", ""))
    if symbol.startswith("line-ns"):
        return (
            f'<svg x="{x}" y="{y}" overflow="visible"><line y1="{-radius:g}" y2="{radius:g}" stroke-width="2" '
            f'style="stroke:{colour}"/></svg>'
        )
    style = f"fill:none;stroke:{colour};stroke-width:2" if symbol.endswith("-open") else f"fill:{colour}"
    return f'<circle cx="{x}" cy="{y}" r="{radius:g}" style="{style}"/>'
