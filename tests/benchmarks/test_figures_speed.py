"""How soon `piezolab figures` answers, and what one move of a slider costs, as ratios taken in one run."""

import statistics
import subprocess
import sys
import time
from collections.abc import Callable

import control
import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.link import read_link, to_query
from piezolab.studies.figures import figures
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import bare_pickup
from piezolab.studies.response import FREQUENCY, response

ROUNDS = 7
Show = Callable[[str, dict[str, str]], None]


def fastest(work: Callable[[], object], times: int) -> float:
    """Least time in s of one piece of work, over a few rounds."""
    best = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        for _ in range(times):
            work()
        best.append((time.perf_counter() - start) / times)
    return min(best)


def test_start_up(report: Show) -> None:
    """Against an interpreter that only loads numpy, which any answer needs: at most five times as long."""
    commands = {
        "python with numpy": "import numpy",
        "figures": "from piezolab.cli import main; main(['figures'], standalone_mode=False)",
        "python with scipy.signal": "import scipy.signal",
    }
    spent: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(ROUNDS):
        for name, code in commands.items():
            start = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL)
            spent[name].append(time.perf_counter() - start)
    medians = {name: statistics.median(values) for name, values in spent.items()}
    base = medians["python with numpy"]
    report("start", {name: f"{value * 1e3:7.0f} ms  {value / base:5.2f}" for name, value in medians.items()})
    assert medians["figures"] < 5 * base


def test_one_move_of_a_slider(report: Show) -> None:
    """Reading a link, the response with its corners, and all figures, beside the bare closed form on 400 points."""
    chain, direct = SignalChain(), SignalChain(stage="direct", pickup_loss=0)
    linear, bare = LinearChain.of(chain.values), bare_pickup(direct.values)
    corner, level = bare.corner_hz, bare.full_level
    _ = linear.network  # the operating point is found once for each chain

    def closed_form() -> np.ndarray:
        x = 1j * FREQUENCY / corner
        return level * x / (1 + x)

    s = control.tf("s")
    system = level * (s / (2 * np.pi * corner)) / (1 + s / (2 * np.pi * corner))
    query = to_query(SignalChain(stage="gain", gate_r=1e6, cable_m=7, pickup_c=5e-9))
    bare_chain = LinearChain.of(direct.values)
    spent = {
        "closed form, numpy": fastest(closed_form, 300),
        "python-control, one pole": fastest(lambda: system(2j * np.pi * FREQUENCY), 50),
        "bare pickup's network": fastest(lambda: bare_chain.gain(FREQUENCY), 50),
        "follower's network": fastest(lambda: linear.gain(FREQUENCY), 50),
        "follower from the values": fastest(lambda: LinearChain.of(chain.values).gain(FREQUENCY), 20),
        "response with corners": fastest(lambda: response(chain), 10),
        "link read": fastest(lambda: read_link(query), 100),
        "all figures": fastest(lambda: figures(chain), 2),
    }
    base = spent["closed form, numpy"]
    report("one evaluation", {name: f"{value * 1e6:8.0f} us  {value / base:8.1f}" for name, value in spent.items()})
    assert spent["bare pickup's network"] < 8 * base
    assert spent["response with corners"] < 4 * spent["follower from the values"]
