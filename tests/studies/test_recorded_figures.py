"""Old links keep their figures: 500 random chains, recorded before the rooms were put in order, read again.

Half of them lie near the default, half anywhere in the ranges. `make test` reads every tenth; PIEZOLAB_LONG=1 all.
Measured when recorded: all 500 equal to 1e-12 on the computer that recorded them. The tolerance here is wider, since
other processors round other sums.
"""

import gzip
import json
import math
import os
from pathlib import Path
from typing import Any

import pytest

from piezolab.chain.link import from_link
from piezolab.studies.figures import figures

RECORDED = json.loads(gzip.decompress((Path(__file__).parent / "recorded_figures.json.gz").read_bytes()))
RELATIVE = float(os.environ.get("PIEZOLAB_RECORDED_REL", "1e-9"))
EVERY = 1 if os.environ.get("PIEZOLAB_LONG") else 10


def differences(was: Any, now: Any, relative: float = RELATIVE, path: str = "") -> list[str]:
    """Where a figure is not what it was: numbers by their relative difference, texts and nulls to the letter. Keys
    that were not there when it was recorded are new figures and do not count."""
    if isinstance(was, dict):
        if not isinstance(now, dict) or set(was) - set(now):
            return [f"{path}: {was!r:.60} became {now!r:.60}"]
        return [fault for key in was for fault in differences(was[key], now[key], relative, f"{path}.{key}")]
    if isinstance(was, list):
        if not isinstance(now, list) or len(was) != len(now):
            return [f"{path}: {was!r:.60} became {now!r:.60}"]
        pairs = enumerate(zip(was, now, strict=True))
        return [fault for n, (a, b) in pairs for fault in differences(a, b, relative, f"{path}[{n}]")]
    same = was == now and isinstance(was, bool) == isinstance(now, bool)
    if not same and all(type(x) in (int, float) for x in (was, now)):
        same = math.isclose(was, now, rel_tol=relative, abs_tol=1e-300)
    return [] if same else [f"{path}: {was!r:.60} became {now!r:.60}"]


@pytest.mark.parametrize("number", range(0, len(RECORDED["rows"]), EVERY))
def test_an_old_link_keeps_its_figures(number: int) -> None:
    row = RECORDED["rows"][number]
    now = json.loads(json.dumps(figures(from_link(row["query"]), RECORDED["at"])))
    assert differences(row["figures"], now) == []


def test_a_changed_figure_is_seen() -> None:
    was = {"bias": {"i_d_a": 1e-3, "region": "saturation"}, "low": None, "gain": [1.0, 2.0]}
    for now in (
        {**was, "bias": {"i_d_a": 1.00001e-3, "region": "saturation"}},
        {**was, "bias": {"i_d_a": 1e-3, "region": "triode"}},
        {**was, "low": 1.0},
        {**was, "gain": [1.0]},
        {key: was[key] for key in ("bias", "gain")},
    ):
        assert len(differences(was, now)) == 1
    assert differences(was, {**was, "new": 3}) == []
