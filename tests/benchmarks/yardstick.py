"""A fixed piece of numpy work, timed beside a benchmark: figures of other days and machines are compared through it.

It never changes: an older figure would no longer mean anything. 400 complex systems of 12 unknowns are solved, and a
million sines summed, much as the pages do.
"""

import statistics
import time

import numpy as np

_TIMES = 15


def _work() -> float:
    angle = np.linspace(0.0, 20.0, 400 * 12 * 12).reshape(400, 12, 12)
    matrices = np.cos(angle) + 1j * np.sin(2.0 * angle) + 6.0 * np.eye(12)
    solved = np.linalg.solve(matrices, np.ones((400, 12, 1)))
    return float(np.sum(np.abs(solved)) + np.sum(np.sin(np.linspace(0.0, 1e3, 1_000_000))))


def yardstick_ms() -> float:
    """Median time of the work now, in ms."""
    times = []
    for _ in range(_TIMES):
        start = time.perf_counter()
        _work()
        times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)
