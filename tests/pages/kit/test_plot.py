"""The plot widget on the Python side: what it takes, what it sends, what it refuses."""

import math
import re
import subprocess
import sys

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from ipywidgets.widgets.widget import _put_buffers, _remove_buffers
from plotly.offline import get_plotlyjs_version

from piezolab.pages.kit.plot import LIBRARY_FILE, LIBRARY_VERSION, Plot

KINDS = {"f8", "f4", "i4", "i2", "i1", "u4", "u2", "u1"}


class Wire:
    """Stands for the connection to the browser: keeps each message as (state, buffers)."""

    def __init__(self, plot: Plot) -> None:
        self.messages: list[tuple[dict, list]] = []
        self.custom: list[tuple[dict, list]] = []
        plot._send = self._take  # what ipywidgets calls for every message

    def _take(self, message: dict, buffers: list | None = None) -> None:
        if message["method"] == "custom":
            self.custom.append((message["content"], buffers or []))
            return
        state = message["state"]
        _put_buffers(state, message["buffer_paths"], [memoryview(b) for b in buffers or []])
        self.messages.append((state, list(buffers or [])))

    @property
    def state(self) -> dict:
        """What the browser holds after all messages."""
        merged: dict = {}
        for state, _ in self.messages:
            merged |= state
        return merged


@pytest.fixture
def plot():
    """A plot nobody has drawn on yet."""
    return Plot(height_px=300, label="an empty plot")


@pytest.fixture
def wire(plot):
    """Its connection."""
    return Wire(plot)


def unpacked(value):
    """An array as the browser reads it: little-endian elements of the kind named beside them."""
    return np.frombuffer(bytes(value["bytes"]), dtype="<" + value["kind"])


def test_set_is_one_message_with_raw_arrays(plot, wire):
    x = np.geomspace(20, 20e3, 400)
    plot.set([{"x": x, "y": 20 * np.log10(x), "name": "bare"}], {"xaxis": {"type": "log"}}, label="a rise")
    [(state, buffers)] = wire.messages
    assert set(state) == {"_traces", "_layout", "label", "revision"}
    assert [len(bytes(b)) for b in buffers] == [3200, 3200]
    np.testing.assert_array_equal(unpacked(state["_traces"][0]["x"]), x)
    assert state["_layout"] == {"xaxis": {"type": "log"}} and state["label"] == "a rise"


def test_update_is_one_small_message_without_the_layout(plot, wire):
    x = np.geomspace(20, 20e3, 400)
    plot.set([{"x": x, "y": x, "name": "a"}, {"x": x, "y": -x, "name": "b"}], {"title": {"text": "t"}})
    plot.update([None, {"y": 2 * x}], label="twice")
    state, buffers = wire.messages[-1]
    assert len(wire.messages) == 2
    assert set(state) == {"_traces", "revision", "label"}
    assert sum(len(bytes(b)) for b in buffers) == 4 * 3200
    np.testing.assert_array_equal(unpacked(state["_traces"][1]["y"]), 2 * x)
    np.testing.assert_array_equal(unpacked(state["_traces"][0]["y"]), x)
    assert state["_traces"][1]["name"] == "b"


def test_every_change_moves_the_revision_even_to_the_same_figure(plot, wire):
    trace = {"x": np.arange(3.0), "y": np.ones(3)}
    plot.set([trace])
    plot.set([trace])
    plot.update([{"y": np.ones(3)}])
    plot.update([])
    assert [state["revision"] for state, _ in wire.messages] == [1, 2, 3, 4]


def test_layout_entries_can_be_replaced_alone(plot, wire):
    plot.set([{"y": [1, 2]}], {"shapes": [], "yaxis": {"range": [0, 1]}})
    plot.update([], {"shapes": [{"type": "line"}]})
    assert wire.state["_layout"] == {"shapes": [{"type": "line"}], "yaxis": {"range": [0, 1]}}


def test_callers_arrays_and_dicts_are_their_own(plot):
    y = np.ones(3)
    trace = {"y": y, "name": "a"}
    plot.set([trace])
    plot.update([{"name": "b"}])
    assert trace["name"] == "a"
    plot.traces[0]["name"] = "c"
    assert plot.traces[0]["name"] == "b"


numbers = arrays.arrays(
    dtype=st.one_of(
        arrays.floating_dtypes(sizes=(32, 64), endianness="?"),
        arrays.integer_dtypes(endianness="?"),
        arrays.unsigned_integer_dtypes(endianness="?"),
        st.just(np.dtype(bool)),
    ),
    shape=st.integers(0, 20),
)


@given(numbers, st.sampled_from([1, 2, -1]))
def test_any_numeric_array_arrives_as_it_was(array, step):
    plot = Plot()
    wire = Wire(plot)
    plot.set([{"y": array[::step]}])
    sent = wire.state["_traces"][0]["y"]
    assert sent["kind"] in KINDS
    got, wanted = unpacked(sent), array[::step]
    if array.dtype.kind in "iu" and array.dtype.itemsize == 8:
        wanted = wanted.astype(float)  # JavaScript's numbers are doubles
    np.testing.assert_array_equal(got, wanted)


def test_what_is_no_flat_number_array_becomes_a_plain_list(plot, wire):
    plot.set([{"x": np.array(["E1", "A1"]), "y": (np.float32(1.5), np.int64(2)), "customdata": np.eye(2)}])
    trace = wire.state["_traces"][0]
    assert trace == {"x": ["E1", "A1"], "y": [1.5, 2], "customdata": [[1.0, 0.0], [0.0, 1.0]]}


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, np.float64("nan")])
def test_number_that_json_cannot_say_is_a_gap(plot, wire, value):
    plot.set([{"y": [1.0, value, 2.0]}])
    assert wire.state["_traces"][0]["y"] == [1.0, None, 2.0]


def test_graph_objects_are_taken_like_dicts(plot, wire):
    figure = go.Figure(go.Scatter(x=[1, 2], y=[3, 4], name="n"), layout={"height": 100})
    plot.set(figure.data, figure.layout)
    trace = wire.state["_traces"][0]
    assert (trace["type"], trace["name"], list(trace["y"])) == ("scatter", "n", [3, 4])
    assert wire.state["_layout"]["height"] == 100


@pytest.mark.parametrize(
    "make, error, says",
    [
        (
            lambda p: p.set([{"x": [1, 2], "y": np.ones(3)}]),
            ValueError,
            "trace 0: x has 2 points and y has 3",
        ),
        (lambda p: p.set([{}, [1, 2]]), TypeError, "trace 1 must be a dict, not list"),
        (lambda p: p.update([{"y": [1]}, {}]), ValueError, "2 traces to change, but the figure has 1"),
        (lambda p: p.update([{"y": [1]}]), ValueError, "trace 0: x has 2 points and y has 1"),
    ],
)
def test_refusal_names_the_trace_and_leaves_the_figure(plot, wire, make, error, says):
    plot.set([{"x": [1, 2], "y": [1, 2]}])
    with pytest.raises(error, match=says):
        make(plot)
    assert len(wire.messages) == 1 and plot.revision == 1


@pytest.mark.parametrize("height", [0, 79, 4001])
def test_height_has_a_range(height):
    with pytest.raises(Exception, match="height_px"):
        Plot(height_px=height)


def test_nothing_the_browser_sends_changes_a_plot(plot):
    plot.set([{"y": [1, 2]}], label="mine")
    state = {
        "_traces": [{"y": [9]}],
        "label": "<script>",
        "height_px": 10**9,
        "revision": -5,
        "_esm": "alert(1)",
    }
    plot._handle_msg(
        {"content": {"data": {"method": "update", "state": state, "buffer_paths": []}}, "buffers": []}
    )
    assert plot.label == "mine" and plot.height_px == 300 and plot.revision == 1
    assert plot.traces == [{"y": [1, 2]}] and "alert" not in str(plot._esm)


def test_library_is_sent_only_when_asked_for(plot, wire):
    for content in ({"want": "other"}, {}, None, [], "plotly", {"want": ["plotly"]}):
        plot._handle_custom_msg(content, [])
    assert wire.custom == []
    plot._handle_custom_msg({"want": "plotly"}, [])
    [(content, buffers)] = wire.custom
    assert content == {"library": "plotly", "version": LIBRARY_VERSION}
    assert bytes(buffers[0]) == LIBRARY_FILE.read_bytes()


def test_widget_state_does_not_carry_the_library(plot):
    state, _, buffers = _remove_buffers(plot.get_state())
    assert len(repr(state)) < 30_000 and buffers == []


def test_bundle_is_the_version_that_the_plotly_package_describes():
    head = LIBRARY_FILE.read_text("utf-8")[:300]
    assert re.search(r"plotly\.js \(basic - minified\) v([\d.]+)", head)[1] == LIBRARY_VERSION
    assert get_plotlyjs_version() == LIBRARY_VERSION
    assert "MIT" in head and (LIBRARY_FILE.parent / "plotly-basic-LICENSE.txt").is_file()


def test_importing_the_plot_does_not_import_the_plotly_package():
    code = "import sys, piezolab.pages.kit.plot; print('plotly' in sys.modules)"
    assert subprocess.check_output([sys.executable, "-c", code], text=True).strip() == "False"
