"""What the drawer's search, its sorting and the spread of builds find, as plain numbers, units in the key names."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.link import to_query
from piezolab.studies.choosing.drawer import Drawer
from piezolab.studies.choosing.offers import search
from piezolab.studies.choosing.one_build import Build, as_chain
from piezolab.studies.choosing.sorting import BOUGHT, sorted_bag, to_fetch
from piezolab.studies.choosing.spread import PERCENTILES, BuildSpread, spread
from piezolab.studies.judging.wish import BuildFigures, Wish


def drawer_figures(chain: SignalChain, drawer: Drawer, wish: Wish) -> dict[str, Any]:
    """The builds that a drawer gives, what stands in the way and what to buy where it gives none, and where its
    measured transistors go. Raises ChainError on a value that no chain takes."""
    found, bag = search(chain, drawer, wish), sorted_bag(chain, drawer, wish)
    whole = Drawer(drawer.resistors, (*drawer.capacitors, *BOUGHT), drawer.transistors)

    def told(build: Build) -> dict[str, Any]:
        return _build(chain, whole, build)

    buy, stands = found.buy, found.obstacle
    return _plain({
        "builds": [told(build) for build in found.builds],
        "nearest": None if found.nearest is None else told(found.nearest),
        "stands_in_the_way": None if stands is None else {
            "wishes": stands.wishes, "lack_db": stands.lack_db, "alone": stands.alone,
        },
        "buy": None if buy is None else {
            "what": buy.what, "value_si": buy.value, "jfet": buy.jfet, "goes": buy.key, "kind": buy.kind,
            "misses": buy.misses,
        },
        "missing": found.missing, "looked_at": found.tried, "all_looked_at": found.whole,
        "transistors": [
            {**told(each.build), "to_buy": [{"goes": key, "value_si": piece} for key, piece in
                                            to_fetch(each.build, drawer)]}
            for each in bag.goes
        ],
        "put_aside": [
            {"transistor": _part(drawer, each.place), "why": each.why, "misses": each.misses, "outside": each.outside}
            for each in bag.aside
        ],
        "pairs": [
            {
                "transistors": [_part(drawer, pair.first), _part(drawer, pair.second)], "distance": pair.distance,
                "matched_blindly": pair.blindly, "level_difference_db": pair.level_db, "rest_difference_v": pair.rest_v,
            }
            for pair in bag.pairs
        ],
    })  # fmt: skip


def _part(drawer: Drawer, place: int) -> dict[str, Any]:
    part = drawer.transistors[place]
    return {"name": part.name, "jfet": part.jfet, "idss_a": part.idss, "vgsoff_v": part.vgsoff}


def _build(chain: SignalChain, drawer: Drawer, build: Build) -> dict[str, Any]:
    fit = build.fit
    return {
        "kind": build.kind, "link": to_query(as_chain(chain, drawer, build)),
        "transistor": None if build.transistor is None else _part(drawer, build.transistor),
        "second_transistor": None if build.second is None else _part(drawer, build.second),
        "takes": [{"goes": taken.key, "values_si": taken.pieces, "joined": taken.joined} for taken in build.takes],
        "parts": build.parts, "figures": build.figures, "reasons": build.reasons, "better_than_yours_in": build.brings,
        "fit": None if fit is None else {"share": fit.share, "low": fit.low, "high": fit.high, "size": fit.size},
        "misses": build.misses or build.fails,
    }  # fmt: skip


def spread_figures(
    chain: SignalChain, percents: tuple[float, float], wish: Wish, size: int | None, seed: int
) -> dict[str, Any]:
    """How builds of a chain spread. percents: tolerance of resistors and capacitors. Raises ValueError as `spread`."""
    found = spread(chain, *percents, wish, size, seed)
    helps = found.helps
    return _plain({
        "builds": found.size, "seed": seed,
        "fit": {"share": found.fits, "low": found.low, "high": found.high, "by_wish": found.fits_each},
        "percentiles": PERCENTILES, "figures": _percentiles(found),
        "response": {
            "frequency_hz": found.frequency,
            "level_db": {f"{p:g}": level for p, level in zip(PERCENTILES, found.level_db, strict=True)},
        },
        "tightest": found.tightest,
        "matters": {
            key: {
                word: {"share": value, "low": low, "high": high}
                for word, (value, low, high) in (("alone", each.first), ("in_all", each.total))
            }
            for key, each in found.matters.items()
        },
        "helps": None if helps is None else {
            "key": helps.key, "value_si": helps.value, "fit_before": helps.before, "fit_after": helps.after,
        },
    })  # fmt: skip


def _percentiles(found: BuildSpread) -> dict[str, Any]:
    """Percentiles of each figure over the builds that have it; None where none has."""
    own = {field.name: np.asarray(getattr(found.figures, field.name), float) for field in fields(BuildFigures)}
    own |= {"low_corner_hz": found.corner_hz, "life_h": found.life_h}
    own.pop("works")
    said = {}
    for name, values in own.items():
        there = np.array([]) if values is None else values[~np.isnan(values)]
        said[name] = np.percentile(there, PERCENTILES, method="nearest") if len(there) else None
    return said


def _plain(value: Any) -> Any:
    """The same of dicts, lists and numbers alone; None for what is no finite number."""
    if hasattr(value, "items"):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(each) for each in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not np.isfinite(value) else value
