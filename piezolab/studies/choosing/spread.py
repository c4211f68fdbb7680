"""What real parts, rooms and batteries do to a chain: bands, shares that fit, what matters most, and what would help.

Builds are drawn as `tolerance` says. A build fits where it fits on a fresh battery and on a spent one, as in the
drawer's search; its other figures are those of a moment of the battery's life. Two samples of builds are drawn; what a
part makes of the spread comes from swapping it between them (`variance_shares`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.chain.values import Values
from piezolab.giving_way import give_way
from piezolab.quantity import decibels, preferred_between
from piezolab.studies.choosing.build_figures import build_figures
from piezolab.studies.choosing.further_figures import further
from piezolab.studies.choosing.tolerance import BATTERY, ROOM, SEED, TEMP_K, check_percents, drawn
from piezolab.studies.choosing.variance_shares import LEAST, variance_shares
from piezolab.studies.choosing.worst_case import interval, margins_over_life
from piezolab.studies.fading_battery import lives, low_corners
from piezolab.studies.judging.wish import BuildFigures, Wish, margins
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

SIZE, SIZE_OF_SEVERAL = 2000, 400  # builds; where transistors move each other, each is many times the work
MOST = 50_000
PERCENTILES = (1.0, 50.0, 99.0)
FREQUENCY = np.geomspace(20.0, 20e3, 61)  # Hz
_FLOOR_DB = -80.0  # a build that clips at rest has no headroom at all; for a variance that much is enough
_TRIED, _SERIES, _REACH = 0.1, "E6", 5.0  # of the builds for each value tried, and how far these reach either way
_DOUBT = 0.025  # on either side
_WORTH = 0.01  # of the builds: a change that mends fewer is none to be told of; our own, common practice, no source


@dataclass(frozen=True)
class PartShare:
    """What one input makes of a figure's variance. first: the part that goes when it is known; total: the part that
    stays when all others are; each with the ends of its 95 % interval, (value, low, high)."""

    first: tuple[float, float, float]
    total: tuple[float, float, float]


@dataclass(frozen=True)
class HelpingChange:
    """One part's other value (SI) with which the most builds fit. before, after: builds of `size` that fit."""

    key: str
    value: float
    before: int
    after: int
    size: int


@dataclass(frozen=True)
class BuildSpread:
    """size: builds drawn; fits: share of them that fits all wishes, low, high: its 95 % interval by Clopper and
    Pearson; fits_each: share by wish.

    figures: of each build at a moment of the battery's life, (size,); corner_hz: low corner, nan where there is none;
    life_h: of the battery, h, None for an adapter and with no stage. frequency, level_db: Hz (F,) and dB, the
    PERCENTILES of the level, (3, F). tightest: the wish that the fewest builds fit, at equality the one with the
    smallest middle margin, None with no wish; matters: what its figure's spread comes from, largest first: parts by
    link key, `jfet` the transistor, `temp_c` the room, `supply_v` the battery. helps: the one value whose change helps
    most, None where none helps one in a hundred builds beyond doubt.
    """

    size: int
    fits: float
    low: float
    high: float
    fits_each: Mapping[str, float]
    figures: BuildFigures
    corner_hz: np.ndarray
    life_h: np.ndarray | None
    frequency: np.ndarray
    level_db: np.ndarray
    tightest: str | None
    matters: Mapping[str, PartShare]
    helps: HelpingChange | None


@kept(2)
def spread(
    chain: SignalChain,
    resistor_percent: float = 5.0,
    capacitor_percent: float = 20.0,
    wish: Wish | None = None,
    size: int | None = None,
    seed: int = SEED,
    room_k: float = TEMP_K,
    battery: bool = True,
) -> BuildSpread:
    """Draw builds of the chain. size: how many, None: as many as is usual for its stage; room_k: how much warmer or
    colder the room may be, K; battery: whether it fades; else the chain's own voltage stands. Raises ValueError on a
    tolerance outside 0 to 50 %, a room outside 0 to 40 K or a size outside 100 to 50,000 or odd."""
    size = usual_size(chain) if size is None else size
    check_percents(resistor_percent, capacitor_percent)
    _check(size, room_k)
    wish, half = wish or Wish(), size // 2
    halves = [
        drawn(chain, resistor_percent, capacitor_percent, half, seed + k, room_k=room_k, battery=battery)
        for k in (0, 1)
    ]
    inputs = halves[0][1]
    a, b = (_batch(values, half) for values, _ in halves)
    looks = [_look(chain, values, wish) for values in (a, b)]
    figures = _both(*(look[0] for look in looks))
    corner, level = (np.concatenate([look[n] for look in looks]) for n in (1, 2))
    life = [lives(chain, values, half) for values in (a, b)]
    own = [margins_over_life(chain, values, wish, (half,), fades=battery) for values in (a, b)]
    whole = {name: np.concatenate([each[name] for each in own]) for name in own[0]}
    each = {name: float(np.mean(margin >= 0)) for name, margin in whole.items()}
    fit = int(np.count_nonzero(np.all([margin >= 0 for margin in whole.values()], axis=0))) if whole else size
    tightest = min(whole, key=lambda name: (each[name], np.median(np.clip(whole[name], -1e6, 1e6))), default=None)
    return BuildSpread(
        size, fit / size, *interval(fit, size, _DOUBT), each, figures, corner,
        None if life[0] is None else np.concatenate(life), FREQUENCY, np.percentile(level, PERCENTILES, axis=0),
        tightest, _matters(chain, a, b, looks, inputs, wish, tightest) if tightest else {},
        _helps(chain, a, b, inputs, wish, battery) if fit < size else None,
    )  # fmt: skip


def usual_size(chain: SignalChain) -> int:
    """How many builds of a chain are drawn where nothing else is said."""
    several = len(LinearChain.of(chain.values).assembly.transistors) > 1
    return SIZE_OF_SEVERAL if several else SIZE


def _check(size: int, room_k: float) -> None:
    if not 0 <= room_k <= 40:
        raise ValueError(f"room: {room_k:g} K is out of range; allowed is 0 to 40 K.")
    if not 2 * LEAST <= size <= MOST or size % 2:
        raise ValueError(f"builds: {size} is out of range; allowed is an even number from {2 * LEAST} to {MOST}.")


def _both(one: BuildFigures, other: BuildFigures) -> BuildFigures:
    """Two batches as one."""
    return BuildFigures(*(
        np.concatenate([getattr(each, field.name) for each in (one, other)]) for field in fields(BuildFigures)
    ))  # fmt: skip


def _batch(values: Values, size: int) -> Values:
    """As a batch whatever was drawn."""
    return values.but(temp_c=np.broadcast_to(np.asarray(values.temp_c, float), (size,)).copy())


def _look(chain: SignalChain, values: Values, wish: Wish) -> tuple[BuildFigures, np.ndarray, np.ndarray]:
    """Figures of builds at the voltage that they have, their low corners in Hz, and their levels in dB, (N, F)."""
    linear = LinearChain.of(values)
    level = np.maximum(decibels(linear.gain(FREQUENCY)), -400.0)
    give_way()
    return _figures(chain, values, wish), low_corners(linear), level


def _figures(chain: SignalChain, values: Values, wish: Wish) -> BuildFigures:
    give_way()
    found = build_figures(values, low_note_hz(chain), with_noise=wish.snr_db_a is not None, at_this_voltage=True)
    return replace(found, **further(chain, values, wish, np.shape(values.temp_c)))


def _matters(
    chain: SignalChain,
    a: Values,
    b: Values,
    looks: list[tuple[BuildFigures, np.ndarray, np.ndarray]],
    inputs: Mapping[str, tuple[str, ...]],
    wish: Wish,
    name: str,
) -> dict[str, PartShare]:
    """What the spread of a wish's figure comes from."""
    if not inputs:
        return {}

    def figure(of: BuildFigures) -> np.ndarray:
        """The margin, so that a wish for less counts like one for more, and in dB."""
        margin = np.asarray(of.works, float) if name == "works" else margins(of, wish)[name]
        return np.clip(np.nan_to_num(margin, nan=_FLOOR_DB), _FLOOR_DB, -_FLOOR_DB)

    mixed = [a.but(**{key: b[key] for key in keys}) for keys in inputs.values()]
    found = variance_shares(
        figure(looks[0][0]), figure(looks[1][0]), np.stack([figure(_figures(chain, each, wish)) for each in mixed])
    )
    ranges = (*found.first_range(), *found.total_range())
    shares = {}
    for k, input_name in enumerate(inputs):
        first = tuple(float(x) for x in (found.first[k], ranges[0][k], ranges[1][k]))
        total = tuple(float(x) for x in (found.total[k], ranges[2][k], ranges[3][k]))
        shares[input_name] = PartShare(first, total)
    return dict(sorted(shares.items(), key=lambda item: -item[1].total[0]))


def _helps(
    chain: SignalChain, a: Values, b: Values, inputs: Mapping[str, tuple[str, ...]], wish: Wish, fades: bool
) -> HelpingChange | None:
    """Every part's other values are tried on the same few builds, the best of them on all. It helps beyond doubt where
    among the builds that it changes those that it mends are the most, by a sign test."""
    best = None
    count = max(20, round(_TRIED * 2 * len(a.temp_c)))
    few = _some(a, count)
    for key, moved in inputs.items():
        if key not in moved or key in (ROOM, BATTERY):
            continue  # no part with one value
        others = _other_values(key, float(chain.values[key]))
        if not len(others):
            continue
        times = (others / float(chain.values[key]))[:, None]
        fit = _fit(chain, few.but(**{key: few[key] * times}), wish, (len(others), count), fades).mean(axis=-1)
        give_way()
        for value, share in zip(others, fit, strict=True):
            far = abs(np.log(value / float(chain.values[key])))
            best = max(best or (-1.0,), (float(share), -far, key, float(value), moved))
    if best is None:
        return None
    key, value = best[2], best[3]
    before, after = [], []
    for values in (a, b):
        shape = np.shape(values.temp_c)
        before.append(_fit(chain, values, wish, shape, fades))
        other = values.but(**{key: values[key] * (value / float(chain.values[key]))})
        after.append(_fit(chain, other, wish, shape, fades))
    had, has = np.concatenate(before), np.concatenate(after)
    mended, spoilt = int(np.sum(has & ~had)), int(np.sum(had & ~has))
    if mended - spoilt < _WORTH * len(had) or interval(mended, mended + spoilt, _DOUBT)[0] <= 0.5:
        return None
    return HelpingChange(key, value, int(had.sum()), int(has.sum()), len(had))


def _some(values: Values, count: int) -> Values:
    """The first builds of a batch."""
    each = {key: value for key, value in values.as_dict().items() if isinstance(value, np.ndarray) and value.ndim}
    return values.but(**{key: value[:count] for key, value in each.items()})


def _other_values(key: str, own: float) -> np.ndarray:
    """Preferred values about a part's own, that its control takes."""
    control = all_parameters()[key]
    found = np.array(preferred_between(max(own / _REACH, control.low), min(own * _REACH, control.high), _SERIES))
    return found[np.abs(found / own - 1) > 0.05]


def _fit(chain: SignalChain, values: Values, wish: Wish, shape: tuple[int, ...], fades: bool) -> np.ndarray:
    """Which builds fit all wishes over the battery's life."""
    own = margins_over_life(chain, values, wish, shape, fades=fades)
    return np.all([margin >= 0 for margin in own.values()], axis=0) if own else np.ones(shape, bool)
