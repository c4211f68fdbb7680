"""What real parts do to a chain: how many builds fit the wishes, and which part matters most.

Resistors and capacitors lie anywhere within their tolerance (evenly, common practice, no source), the transistor is
drawn from its type's population unless it was measured. The influence of a part on a figure is the share of the
figure's variance that goes when the part is known: the first-order index of I. M. Sobol, "Sensitivity estimates for
nonlinear mathematical models", Math. Modelling Comput. Exp. 1 (1993) 407-414, here from groups of builds with like
values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.stages.common_parts import absent
from piezolab.chain.values import Values
from piezolab.quantity import decibels
from piezolab.studies.choosing.build_figures import build_figures
from piezolab.studies.judging.wish import BuildFigures, Wish, margins
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import builds
from piezolab.studies.response import low_note_hz

SIZE = 10_000
SEED = 1904
TRANSISTOR = "jfet"
_FLOOR_DB = -80.0  # a build that clips at rest has no headroom at all; for a variance that much is enough
_GROUPS = 32  # of like values of one part
_CELLS = 8  # each way, of like transistors


@dataclass(frozen=True)
class Tolerance:
    """size: builds drawn; fits: share of them that fits all wishes; fits_each: share by wish; figures: of each build.

    influence: figure -> part -> share of its variance, largest first; parts are link keys, `jfet` the transistor;
    tightest: the wish that the fewest builds fit, at equality the one with the smallest middle margin, None with no
    wish; matters: its influences.
    """

    size: int
    fits: float
    fits_each: Mapping[str, float]
    figures: BuildFigures
    influence: Mapping[str, Mapping[str, float]]
    tightest: str | None
    matters: Mapping[str, float]


def tolerance(
    chain: SignalChain,
    resistor_percent: float = 5.0,
    capacitor_percent: float = 20.0,
    wish: Wish | None = None,
    size: int = SIZE,
    seed: int = SEED,
) -> Tolerance:
    """Draw builds of the chain. Raises ValueError on a tolerance outside 0 to 50 % or a size outside 100 to 50,000."""
    for what, value in (("resistor tolerance", resistor_percent), ("capacitor tolerance", capacitor_percent)):
        if not 0 <= value <= 50:
            raise ValueError(f"{what}: {value} % is out of range; allowed is 0 to 50 %.")
    if not 100 <= size <= 50_000:
        raise ValueError(f"builds: {size} is out of range; allowed is 100 to 50000.")
    wish = wish or Wish()
    values, draws = drawn(chain, resistor_percent, capacitor_percent, size, seed)
    figures = build_figures(values, low_note_hz(chain), with_noise=wish.snr_db_a is not None)
    found = margins(figures, wish)
    each = {name: float(np.mean(margin >= 0)) for name, margin in found.items()}
    fits = float(np.mean(np.all([margin >= 0 for margin in found.values()], axis=0))) if found else 1.0
    influence = {}
    for name in (field.name for field in fields(BuildFigures)):
        figure = np.maximum(np.asarray(getattr(figures, name), float), _FLOOR_DB)
        if np.isfinite(figure).all():
            influence[name] = influences(draws, figure)
    tightest = min(found, key=lambda name: (each[name], np.median(found[name])), default=None)
    return Tolerance(size, fits, each, figures, influence, tightest, influence[tightest] if tightest else {})


def drawn(
    chain: SignalChain, resistor_percent: float, capacitor_percent: float, size: int, seed: int
) -> tuple[Values, dict[str, np.ndarray]]:
    """Builds of the chain as a batch, and what was drawn for each part: (size,) or, for the transistor, (size, 2).

    Divider and tapped source resistor count as the two resistors that they are.
    """
    rng = np.random.default_rng(seed)
    values = chain.values
    draws: dict[str, np.ndarray] = {}
    changes: dict[str, np.ndarray] = {}

    def factor(percent: float) -> np.ndarray:
        return 1 + 1e-2 * percent * rng.uniform(-1.0, 1.0, size)

    by_key: dict[str, str] = {}
    for part in assemble(values).where("board", "supply"):
        if part.kind in ("resistor", "capacitor") and part.key:
            by_key.setdefault(part.key, part.kind)
    for key, kind in by_key.items():
        if absent(values[key]):
            continue
        percent = resistor_percent if kind == "resistor" else capacitor_percent
        if key == "divider_r" or (key == "source_r" and values["return"] == "tap"):
            upper, lower = factor(percent), factor(percent)
            part = values.return_part
            whole = (1 - part) * upper + part * lower
            changes[key], changes["return_part"] = values[key] * whole, part * lower / whole
            draws[key], draws["return_part"] = whole, lower / upper
        else:
            draws[key] = factor(percent)
            changes[key] = values[key] * draws[key]
    if chain.topology.powered and not chain.transistor_measured:
        many = builds(chain, size, seed)
        changes |= {"jfet_idss": many.jfet_idss, "jfet_vgsoff": many.jfet_vgsoff}
        idss, vgsoff = np.broadcast_arrays(many.jfet_idss, many.jfet_vgsoff)
        draws[TRANSISTOR] = np.stack([vgsoff, idss / vgsoff**2], axis=-1)
    return values.but(**changes), draws


def level_band(chain: SignalChain, frequency: np.ndarray, size: int = 100, seed: int = SEED) -> np.ndarray:
    """Level of the chain's builds in dB over frequency (Hz, shape (F,)): 1st and 99th percentile, shape (2, F).

    Resistors lie within 5 %, capacitors within 20 %. A build that does not work at rest counts like any other.
    """
    values, _ = drawn(chain, 5.0, 20.0, size, seed)
    level = decibels(LinearChain.of(values).gain(frequency))
    return np.percentile(np.maximum(level, -400.0), [1, 99], axis=0)


def influences(draws: Mapping[str, np.ndarray], figure: np.ndarray) -> dict[str, float]:
    """First-order indices of what was drawn, from 0 to 1, the largest first; what chance makes is taken off."""
    found = {name: _index(draw, figure) for name, draw in draws.items()}
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _index(draw: np.ndarray, figure: np.ndarray) -> float:
    """Variance of the group means over the whole variance, less what chance alone makes of them."""
    size = len(figure)
    whole = float(np.var(figure))
    if whole <= 1e-18 * max(1.0, float(np.mean(figure)) ** 2) or np.ptp(draw) == 0:
        return 0.0
    group = _ranked(draw, _GROUPS) if draw.ndim == 1 else _cells(draw)
    count = np.bincount(group)
    mean = np.bincount(group, figure) / np.maximum(count, 1)
    between = float(np.sum(count * (mean - np.mean(figure)) ** 2)) / size
    groups = int(np.count_nonzero(count))
    within = whole - between
    return float(np.clip((between - within * (groups - 1) / max(size - groups, 1)) / whole, 0.0, 1.0))


def _ranked(draw: np.ndarray, groups: int) -> np.ndarray:
    order = np.empty(len(draw), int)
    order[np.argsort(draw, kind="stable")] = np.arange(len(draw))
    return order * groups // len(draw)


def _cells(draw: np.ndarray) -> np.ndarray:
    """Groups by the first quantity, and within each by the second."""
    first = _ranked(draw[:, 0], 2 * _CELLS)
    group = np.empty(len(draw), int)
    for k in range(2 * _CELLS):
        inside = np.flatnonzero(first == k)
        group[inside] = k * _CELLS + _ranked(draw[inside, 1], _CELLS)
    return group
