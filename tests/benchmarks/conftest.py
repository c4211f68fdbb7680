"""What the browser benchmarks share."""

import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from tests.serving.conftest import _CURVE, write_notebook

_FIGURE_WIDGET = """
import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

frequency = np.geomspace(20, 20e3, 400)

def level(corner):
    return -10 * np.log10(1 + (corner / frequency) ** 2)

slider = widgets.FloatSlider(value=100, min=10, max=1000, step=10)
figure = go.FigureWidget([go.Scatter(x=frequency, y=level(100))], {"xaxis": {"type": "log"}, "height": 320})

def move(change):
    with figure.batch_update():
        figure.data[0].y = level(change["new"])

slider.observe(move, "value")
widgets.VBox([slider, figure])
"""


@pytest.fixture
def report(capsys: pytest.CaptureFixture[str]) -> Callable[[str, dict[str, str]], None]:
    """Prints a small table of results past the capture."""

    def show(title: str, rows: dict[str, str]) -> None:
        with capsys.disabled():
            print(f"\n{title}")
            for name, text in rows.items():
                print(f"  {name:34s}{text}")

    return show


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One slider and one curve, drawn in two ways, and a page with nothing on it."""
    folder = tmp_path_factory.mktemp("site")
    write_notebook(folder / "index.ipynb", "# Start")
    write_notebook(folder / "01-empty.ipynb", "# Empty")
    write_notebook(folder / "02-light.ipynb", "# Curve", _CURVE)
    write_notebook(folder / "03-heavy.ipynb", "# Curve", _FIGURE_WIDGET)
    return folder


@pytest.fixture(scope="module")
def stock(site: Path):
    """Voila as it comes, on the same folder; its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "voila", "--no-browser", "--port=0", str(site)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    lines = psutil.Process(process.pid)
    port = 0
    end = time.monotonic() + 30
    while not port and time.monotonic() < end:
        time.sleep(0.1)
        port = next((c.laddr.port for c in lines.net_connections("inet") if c.status == "LISTEN"), 0)
    address = f"http://localhost:{port}/voila/render/"
    urllib.request.urlopen(f"http://localhost:{port}/voila/tree", timeout=20).read()
    yield address
    process.terminate()
    process.wait(15)
    process.stderr.close()
