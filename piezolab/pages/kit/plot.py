"""A light plot: plotly figures in, drawn by one copy of plotly.js that the browser keeps.

``plotly.graph_objects.FigureWidget`` sends 5 MB of script for each figure and visitor and takes seconds to
import. Here a figure is a plain dict of plotly's data and layout, arrays travel as raw bytes, and the
drawing library is a static file. Library choice: plotly.js's own "basic" bundle (lines, bars, pies; MIT) kept
beside this module, because a browser reads it in a fifth of the time of the full one in the plotly package.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import anywidget
import numpy as np
import traitlets

_STATIC = Path(__file__).parent / "static"

#: Version of plotly.js in the bundle.
LIBRARY_VERSION = "4.1.1"
#: The drawing library: a classic script that sets ``window.Plotly``; the version is part of its name.
LIBRARY_FILE = _STATIC / f"plotly-basic-{LIBRARY_VERSION}.min.js"

Trace = Mapping[str, Any]
MOST_POINTS = 10_000  # that can be touched

# Names that plot.js turns back into typed arrays. JavaScript's 64-bit integers are not numbers: they become
# doubles here.
_KINDS = {"f8", "f4", "i4", "i2", "i1", "u4", "u2", "u1"}


def _packed(value: Any) -> Any:
    """``value`` with every numeric array replaced by its kind and raw little-endian bytes."""
    if isinstance(value, np.ndarray):
        return _packed_array(value)
    if isinstance(value, np.generic):
        return _packed(value.item())
    if isinstance(value, Mapping):
        return {str(key): _packed(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_packed(item) for item in value]
    if isinstance(value, float) and not np.isfinite(value):
        return None  # JSON has no word for it; plotly draws a gap
    return value


def _packed_array(array: np.ndarray) -> Any:
    if array.dtype.kind == "b":
        array = array.astype("u1")
    if array.ndim != 1 or array.dtype.kind not in "fiu":
        return [_packed(item) for item in array.tolist()]
    kind = array.dtype.str[1:]
    if kind not in _KINDS:
        kind = "f8"
    return {"kind": kind, "bytes": np.ascontiguousarray(array, dtype="<" + kind).tobytes()}


def _to_wire(value: Any, _widget: Any) -> Any:
    return _packed(value)


def _checked(traces: Sequence[Trace]) -> list[dict[str, Any]]:
    """The traces as dicts of their own. Raises TypeError or ValueError naming the trace at fault."""
    out = []
    for number, trace in enumerate(traces):
        trace = _as_dict(trace)
        if not isinstance(trace, Mapping):
            raise TypeError(f"trace {number} must be a dict, not {type(trace).__name__}")
        out.append(dict(trace))
        _check_lengths(number, out[-1])
    return out


def _as_dict(part: Any) -> Any:
    """A trace or layout made with plotly.graph_objects as its plain form; anything else as it is."""
    return part.to_plotly_json() if hasattr(part, "to_plotly_json") else part


def _check_lengths(number: int, trace: Trace) -> None:
    x, y = trace.get("x"), trace.get("y")
    if hasattr(x, "__len__") and hasattr(y, "__len__") and len(x) != len(y):
        raise ValueError(f"trace {number}: x has {len(x)} points and y has {len(y)}")


class Plot(anywidget.AnyWidget):
    """One plot that fills the width it is given.

    Parameters
    ----------
    height_px : int
        Height in CSS pixels, 80 to 4000.
    label : str
        Text alternative: what a reader who cannot see the plot is told. Keep it up to date with the figure.
    narrow_below_px : int
        Below this width the plot counts as narrow, see `set`.

    touched : callable, optional
        Called with the number of a point that is touched, as its trace has it in ``meta={"touch": [...]}``.

    A redraw keeps the reader's zoom. Colours given as ``var(--name)`` are taken from the page's style, so that
    they follow its light or dark theme. In the browser the element carries ``data-state`` (loading, drawn,
    failed), ``data-drawn`` (redraws so far) and ``data-revision``, and sends a ``piezolab:drawn`` event.
    """

    _esm = _STATIC / "plot.js"
    _css = _STATIC / "plot.css"

    height_px = traitlets.Int(360, min=80, max=4000).tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    narrow_below_px = traitlets.Int(520).tag(sync=True)
    #: Counts changes of the figure; the browser redraws when it moves.
    revision = traitlets.Int(0).tag(sync=True)
    _traces = traitlets.List().tag(sync=True, to_json=_to_wire)
    _layout = traitlets.Dict().tag(sync=True, to_json=_to_wire)
    _narrow = traitlets.Dict().tag(sync=True, to_json=_to_wire)

    def __init__(
        self, *, height_px: int = 360, label: str = "", touched: Callable[[int], None] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(height_px=height_px, label=label, **kwargs)
        self._touched = touched
        self.on_msg(self._answer)

    def set(
        self,
        traces: Sequence[Trace],
        layout: Mapping[str, Any] | None = None,
        *,
        narrow: Mapping[str, Any] | None = None,
        label: str | None = None,
    ) -> None:
        """Replace the figure, in one message.

        Parameters
        ----------
        traces : sequence of dict
            Plotly traces (dicts or graph_objects) of type scatter, bar or pie; numeric arrays of shape (n,)
            travel as raw bytes. A trace with ``meta={"wide_only": True}`` is left out of a narrow plot.
        layout : dict, optional
            Plotly layout. Font, colours of the paper, grid and margins have defaults that suit the page. With
            ``meta={"steady": True}`` the ends of its y axis stay as they are while a slider is held.
        narrow : dict, optional
            Changes to the layout for a narrow plot; ``height`` is one of them.
        label : str, optional
            New text alternative.

        Raises
        ------
        TypeError, ValueError
            A trace is no dict, or its x and y differ in length.
        """
        checked = _checked(traces)
        with self.hold_sync():
            self._traces = checked
            self._layout = dict(_as_dict(layout) or {})
            self._narrow = dict(narrow or {})
            self._changed(label)

    def update(
        self,
        traces: Sequence[Trace | None],
        layout: Mapping[str, Any] | None = None,
        *,
        label: str | None = None,
    ) -> None:
        """Change parts of the figure, in one message that carries the traces but not the layout.

        Parameters
        ----------
        traces : sequence of dict or None
            What to change in each trace, by position (usually ``x`` and ``y``); None leaves one as it is.
        layout : dict, optional
            Top-level layout entries to replace (``shapes``, ``annotations``, ...).
        label : str, optional
            New text alternative.

        Raises
        ------
        ValueError
            More traces than the figure has, or x and y differ in length.
        """
        if len(traces) > len(self._traces):
            raise ValueError(f"{len(traces)} traces to change, but the figure has {len(self._traces)}")
        changed = [dict(trace) for trace in self._traces]
        for number, change in enumerate(traces):
            if change is not None:
                changed[number].update(change)
                _check_lengths(number, changed[number])
        with self.hold_sync():
            self._traces = changed
            if layout is not None:
                self._layout = {**self._layout, **layout}
            self._changed(label)

    @property
    def traces(self) -> list[dict[str, Any]]:
        """The traces as last set; change them with `update`."""
        return [dict(trace) for trace in self._traces]

    @property
    def shown(self) -> tuple[list[dict[str, Any]], dict[str, Any], dict[str, Any]]:
        """Traces, layout and changes for a narrow plot, as last set."""
        return self.traces, dict(self._layout), dict(self._narrow)

    def _changed(self, label: str | None) -> None:
        if label is not None:
            self.label = label
        self.revision += 1

    def set_state(self, sync_data: Mapping[str, Any]) -> None:
        """Ignore state from the browser: a plot only shows, and a visitor's message could say anything."""

    def _answer(self, _widget: Any, content: Any, _buffers: Any) -> None:
        """Send the drawing library to a front end that has no server of ours to fetch it from."""
        if content == {"want": "plotly"}:
            self.send({"library": "plotly", "version": LIBRARY_VERSION}, buffers=[LIBRARY_FILE.read_bytes()])
        touch = content.get("touch") if isinstance(content, dict) else None
        if self._touched is not None and type(touch) is int and 0 <= touch < MOST_POINTS:
            self._touched(touch)
