"""What takes minutes: a memory stick's bundle, a minute without a network, a thousand pages nobody waits for."""

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.room.alone import unshared
from tests.room.conftest import Abandoned, Guest, open_room
from tests.room.test_offline import _CUT, _LESSON, ROOT, run_alone
from tests.serving.conftest import write_notebook

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def notebooks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A start page, a page with a slider and an empty one."""
    folder = tmp_path_factory.mktemp("site")
    write_notebook(folder / "index.ipynb", "# Start")
    write_notebook(folder / "02-does-it-slide.ipynb", "# Slide", "import ipywidgets; ipywidgets.FloatSlider()")
    write_notebook(folder / "03-is-it-empty.ipynb", "# Empty")
    return folder


def test_bundle_is_installed_and_serves_without_a_network(tmp_path, report):
    """Needs the network once, to make the bundle; then a stick, another folder, and none."""
    begun = time.monotonic()
    subprocess.run(["make", "bundle", f"VENV={Path(sys.prefix)}"], cwd=ROOT, check=True, timeout=900)
    made_s = time.monotonic() - begun
    stick = tmp_path / "stick"
    shutil.move(ROOT / "dist" / "bundle", stick)
    size = sum(path.stat().st_size for path in stick.rglob("*")) / 2**20
    # The stick's script wants a folder in the account of whoever starts it; here that is one of the test's.
    home = ["env", f"HOME={tmp_path}", "PIP_CONFIG_FILE=/dev/null", "sh", str(stick / "start.sh")]
    serve = [*home, "--host", "127.0.0.1", "--port", "0", "--no-browser"]
    begun = time.monotonic()
    said = run_alone(_LESSON, *serve, seconds=600)
    first_s = time.monotonic() - begun
    assert "a lesson was opened" in said
    again = float(run_alone(_LESSON, *serve, seconds=600).split("started in ")[1].split()[0])
    report(
        "a memory stick",
        {
            "making it": f"{made_s:.0f} s, {size:.0f} MB",
            "first start from it, no network": f"{first_s:.0f} s to a page",
            "next start": f"{again:.0f} s to a server",
        },
    )
    assert again < 30


def test_a_minute_without_a_network(notebooks):
    assert "goes on with its own kernel" in run_alone(_CUT, str(notebooks), "60", seconds=240)


def test_a_thousand_abandoned_loads(notebooks, report):
    """With the stock patience: two minutes after the last one nothing is left."""
    server = open_room(notebooks, warm=True, seats=8, patience={})
    try:
        guest, abandoned = Guest(server), Abandoned(server, seed=1)
        assert guest.leave(guest.come_in()) == 204 and server.kernels_become(0, 60)
        before, begun = abandoned.left(), time.monotonic()
        while abandoned.codes.total() < 1000:
            abandoned.load()
        loaded = time.monotonic()
        assert server.kernels_become(0, 120)
        gone, after = time.monotonic(), abandoned.left()
        report(
            "a thousand abandoned loads",
            {
                "answers": f"{dict(abandoned.codes)} in {loaded - begun:.0f} s",
                "kernels at most": f"{abandoned.most_kernels}",
                "last kernel gone": f"{gone - loaded:.0f} s after the last load",
                "before": str(before),
                "after": str(after),
            },
        )
        assert set(abandoned.codes) == {200, 429} and not abandoned.without_sentence
        assert abandoned.most_kernels <= 8 + 3  # one visitor's pages, until they give way
        assert after["MB"] < before["MB"] + 30 and after["handles"] <= before["handles"] + 3 and not after["files"]
        assert "never retrieved" not in server.output and "Traceback" not in server.output
        assert guest.leave(guest.come_in()) == 204
    finally:
        server.stop()


def test_unshared_network_has_nothing_in_it():
    code = "import socket; socket.create_connection(('198.51.100.1', 9), timeout=3)"
    done = subprocess.run(unshared(sys.executable, "-c", code), capture_output=True, text=True, timeout=30)
    assert done.returncode != 0 and "Network is unreachable" in done.stderr
