"""Small notebooks of our own, and one server that serves them to all tests in this folder."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.serving.browsing import Page
from tests.serving.live import LiveServer

_CURVE = """
import os
import sys
import ipywidgets as widgets
import numpy as np
from piezolab.pages.kit.plot import Plot

frequency = np.geomspace(20, 20e3, 400)

def level(corner):
    return -10 * np.log10(1 + (corner / frequency) ** 2)

slider = widgets.FloatSlider(value=100, min=10, max=1000, step=10, description="corner")
plot = Plot(height_px=320, label="corner 100 Hz")
plot.set(
    [
        {"x": frequency, "y": level(100), "name": "bare", "mode": "lines"},
        {"x": frequency, "y": level(20), "name": "buffered", "line": {"color": "var(--plot-text)"},
         "meta": {"wide_only": True}},
    ],
    {"xaxis": {"type": "log", "title": {"text": "Hz"}}, "yaxis": {"range": [-40, 3]}},
    narrow={"height": 260},
)
slider.observe(
    lambda change: plot.update([{"y": level(change["new"])}], label=f"corner {change['new']:.0f} Hz"), "value"
)
boom = widgets.Button(description="break")

def broken(_):
    print("to standard output")
    print("to standard error", file=sys.stderr)
    raise ZeroDivisionError("a secret word")

boom.on_click(broken)
widgets.VBox([widgets.Label(repr(os.environ["QUERY_STRING"])), slider, plot, boom])
"""

_GLIDE = """
from piezolab.pages.kit.plot import Plot

plot = Plot(label="a rise")
plot.set([{"y": [1, 2]}], {"transition": {"duration": 50}})
plot
"""


def write_notebook(path: Path, *cells: str) -> None:
    """A notebook of those cells; one that starts with # is prose."""
    made = [
        {
            "id": f"cell-{number}",
            "cell_type": "markdown" if text.startswith("# ") else "code",
            "metadata": {},
            "source": text,
            **({} if text.startswith("# ") else {"outputs": [], "execution_count": None}),
        }
        for number, text in enumerate(cells)
    ]
    kernel = {"name": "python3", "language": "python", "display_name": "Python 3"}
    content = {"nbformat": 4, "nbformat_minor": 5, "metadata": {"kernelspec": kernel}, "cells": made}
    path.write_text(json.dumps(content))


@pytest.fixture(scope="session")
def small_notebooks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A start page and four small chapters, beside files that nobody may read."""
    folder = tmp_path_factory.mktemp("site") / "notebooks"
    folder.mkdir()
    write_notebook(folder / "index.ipynb", "# All questions\n\n[Does it move?](does-it-move)")
    write_notebook(folder / "01-does-it-move.ipynb", "# Does it move?", _CURVE)
    write_notebook(folder / "02-does-it-break.ipynb", "# Does it break?", "secret_word = 1 / 0")
    write_notebook(
        folder / "03-is-it-set.ipynb",
        "# Is it set?\n\nThe corner is $f = \\frac{1}{2\\pi RC}$.",
        "import sys; print('on', 'stderr', file=sys.stderr); print('on', 'stdout'); 7",
    )
    write_notebook(folder / "04-is-it-empty.ipynb", "# Is it empty?")
    write_notebook(folder / "05-does-it-die.ipynb", "# Does it die?", "import os; os._exit(3)")
    write_notebook(folder / "06-does-it-glide.ipynb", "# Does it glide?", _GLIDE)
    write_notebook(folder / "Draft.ipynb", "# Nobody's business")
    (folder / "notes.txt").write_text("keep out")
    (folder.parent / "outside.txt").write_text("keep out")
    (folder.parent / "outside.js").write_text("keep out")
    return folder


@pytest.fixture(scope="session")
def server(small_notebooks: Path) -> Iterator[LiveServer]:
    """One server for all tests that leave it as they find it; it frees lost kernels within seconds."""
    live = LiveServer(small_notebooks, patience={"unopened_s": 2.5, "lost_s": 2.5})
    yield live
    live.stop()


@pytest.fixture(scope="session")
def live(small_notebooks):
    """A server with the stock patience, which browser tests may rely on."""
    server = LiveServer(small_notebooks)
    yield server
    server.stop()


@pytest.fixture
def visit(browser, live):
    """Opens pages and closes them after the test."""
    opened = []

    def make(server: LiveServer = live, **options) -> Page:
        opened.append(Page(browser, server, **options))
        return opened[-1]

    yield make
    for page in opened:
        page.close()
