"""What ten thousand builds cost: operating points and 200 points of response, beside other ways to the same numbers.

Run by name: make bench. On 27 November 2026 (two shared processors) a follower's took 0.20 s of processor time and a
gain stage's 0.25 s, in 277 MB of a process; before large batches were solved a few frequencies at a time, 674 and 865
MB. One batched dense solve took 7 times as long, a loop of dense solves 40 to 50 times, scipy.signal 10 to 12 and
python-control 19 to 23 times.
"""

import subprocess
import sys
import time
from collections.abc import Callable

import control
import numpy as np
import pytest
import scipy.linalg
import scipy.signal

from piezolab.chain import SignalChain
from piezolab.circuit.equations import dense
from piezolab.circuit.network import ac_equations
from piezolab.studies.choosing.spread import SIZE_OF_SEVERAL, spread
from piezolab.studies.choosing.tolerance import drawn
from piezolab.studies.kept import forget
from piezolab.studies.linear import LinearChain
from piezolab.studies.several_transistors import edges_of_several

BUILDS, POINTS = 10_000, 200
AIM_S, BAR_S, BAR_MB = 0.5, 1.0, 400
FREQUENCY = np.geomspace(20.0, 20e3, POINTS)
Show = Callable[[str, dict[str, str]], None]
#: Without dielectric loss, whose conductance grows with frequency: other libraries take rational functions alone.
CHAINS = {stage: SignalChain(stage=stage, pickup_loss=0.0) for stage in ("follower", "gain")}


def _spent(work: Callable[[], object], rounds: int = 3) -> float:
    """Least seconds of processor time."""
    times = []
    for _ in range(rounds):
        forget()
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def _engine(chain: SignalChain, builds: int, frequency: np.ndarray) -> Callable[[], np.ndarray]:
    values, _ = drawn(chain, 5.0, 20.0, builds, 3)
    return lambda: LinearChain.of(values).gain(frequency)


def _matrices(chain: SignalChain, builds: int, frequency: np.ndarray) -> tuple[np.ndarray, np.ndarray, int, np.ndarray]:
    """Matrices (builds, F, n, n), right-hand side (n,), the output's place, and the engine's own answer."""
    values, _ = drawn(chain, 5.0, 20.0, builds, 3)
    linear = LinearChain.of(values)
    matrix, names = dense(ac_equations(linear.network, 2 * np.pi * frequency))
    side = np.zeros(len(names), complex)
    for source, amplitude in linear.assembly.drive.items():
        side[names.index(source)] = float(amplitude)
    return matrix, side, names.index(linear.assembly.load), linear.gain(frequency)


def _poles_and_zeros(matrix: np.ndarray, side: np.ndarray, out: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Of one build, from its matrices G + jwC at two frequencies."""
    g, c = matrix[0].real, (matrix[1] - matrix[0]).imag / (2 * np.pi * (FREQUENCY[1] - FREQUENCY[0]))
    pick = np.zeros(len(side))
    pick[out] = 1.0

    def roots(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        scale = np.abs(a).max(axis=1, keepdims=True)
        found = scipy.linalg.eigvals(-a / scale, b / scale)
        return found[np.isfinite(found) & (np.abs(found) < 1e11)]

    poles = roots(g, c)
    zeros = roots(np.block([[g, side.real[:, None]], [pick, np.zeros(1)]]), np.pad(c, (0, 1)))
    s = 2j * np.pi * 1000.0
    at = np.linalg.solve(g + s * c, side)[out]
    return zeros, poles, float(np.real(at * np.prod(s - poles) / np.prod(s - zeros)))


@pytest.mark.parametrize("stage", CHAINS)
def test_ten_thousand_builds(stage: str, report: Show) -> None:
    chain = CHAINS[stage]
    engine = _spent(_engine(chain, BUILDS, FREQUENCY))
    few = 200
    matrix, side, out, own = _matrices(chain, few, FREQUENCY)
    right = np.broadcast_to(side[:, None], (*matrix.shape[:-1], 1))
    np.testing.assert_allclose(np.linalg.solve(matrix, right)[..., out, 0], own, rtol=1e-6)
    batched = _spent(lambda: np.linalg.solve(matrix, right)) * BUILDS / few

    def looped() -> None:
        for one in matrix[:10]:
            for at in one:
                np.linalg.solve(at, side)

    def by(library: Callable[..., np.ndarray]) -> Callable[[], np.ndarray]:
        return lambda: np.stack([library(*_poles_and_zeros(one, side, out)) for one in matrix[:20]])

    def freqs(zeros: np.ndarray, poles: np.ndarray, k: float) -> np.ndarray:
        return scipy.signal.freqs_zpk(zeros, poles, k, 2 * np.pi * FREQUENCY)[1]

    def controlled(zeros: np.ndarray, poles: np.ndarray, k: float) -> np.ndarray:
        return control.zpk(zeros, poles, k)(2j * np.pi * FREQUENCY)

    for library in (freqs, controlled):
        np.testing.assert_allclose(np.abs(by(library)()), np.abs(own[:20]), rtol=1e-2)
    found = {
        "this engine, operating points too": engine,
        "one batched dense solve": batched,
        "a loop of dense solves": _spent(looped) * BUILDS / 10,
        "scipy.signal, build by build": _spent(by(freqs)) * BUILDS / 20,
        "python-control, build by build": _spent(by(controlled)) * BUILDS / 20,
    }
    report(f"{stage}: {BUILDS} builds, {POINTS} points (aim {AIM_S} s, bar {BAR_S} s)", {
        name: f"{value:8.2f} s  {value / engine:8.1f}" for name, value in found.items()
    })  # fmt: skip
    assert found["one batched dense solve"] > 3 * engine
    assert found["a loop of dense solves"] > 20 * engine
    assert engine < BAR_S


def test_time_grows_as_builds_and_points_do(report: Show) -> None:
    chain = CHAINS["gain"]
    by_builds = {n: _spent(_engine(chain, n, FREQUENCY)) for n in (2_500, 5_000, 10_000, 20_000)}
    by_points = {n: _spent(_engine(chain, BUILDS, np.geomspace(20.0, 20e3, n))) for n in (50, 100, 200, 400)}
    for what, times in (("builds", by_builds), ("points", by_points)):
        sizes = np.array(list(times))
        report(f"seconds by {what}, drawn to one scale (a straight line doubles with each row)", {
            f"{n}": f"{value:8.3f}  {'#' * round(40 * value / max(times.values()))}" for n, value in times.items()
        })  # fmt: skip
        power = np.polyfit(np.log(sizes), np.log(list(times.values())), 1)[0]
        assert 0.5 < power < 1.3, "linear, with what each costs before"


@pytest.mark.parametrize("stage", ["steady", "driven"])
def test_edges_of_two_transistors(stage: str, report: Show) -> None:
    """On 27 November 2026, with other work on both processors: the edges of 400 builds 40 to 80 ms, their whole spread
    about 2.5 s (steady) and 3.8 s (driven) where it was 30 and 36 s; 200 points each of the load line with its
    gates' currents 7 to 12 times as long."""
    chain = SignalChain(stage=stage)
    values, _ = drawn(chain, 5.0, 20.0, SIZE_OF_SEVERAL, 3, room_k=15.0)
    linear = LinearChain.of(values)
    line = linear.load_line
    far = 3.0 * np.linspace(-1.0, 1.0, 200)
    own = _spent(lambda: edges_of_several(linear))
    walked = _spent(lambda: line.at(np.broadcast_to(far, (*line.shape, 200))), 1)
    whole = _spent(lambda: spread(chain), 1)
    report(f"{stage}: {SIZE_OF_SEVERAL} builds of two transistors", {
        "their edges": f"{own:8.3f} s", "200 points of the whole load line": f"{walked:8.3f} s {walked / own:6.1f}",
        "their spread (aim 4 s)": f"{whole:8.2f} s",
    })  # fmt: skip
    assert walked > 3 * own


def test_memory_is_that_of_the_answer_and_a_few_frequencies(report: Show) -> None:
    code = (
        "import resource, numpy as np\n"
        "from piezolab.chain import SignalChain\n"
        "from piezolab.studies.choosing.tolerance import drawn\n"
        "from piezolab.studies.linear import LinearChain\n"
        f"values, _ = drawn(SignalChain(stage='gain'), 5.0, 20.0, {BUILDS}, 3)\n"
        f"LinearChain.of(values).gain(np.geomspace(20.0, 20e3, {POINTS}))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)\n"
    )
    most = int(subprocess.check_output([sys.executable, "-c", code], text=True))
    report("memory", {"largest of the process": f"{most:8d} MB"})
    assert most < BAR_MB
