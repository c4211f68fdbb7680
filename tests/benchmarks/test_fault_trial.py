"""The whole trial of the fault finder: 2,000 faulty builds of another world for each case. Takes some minutes."""

from collections.abc import Callable

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.faults import fault_table
from tests.studies.faults.scores import calibration, score, two_flagged
from tests.studies.faults.trial import world

Show = Callable[[str, dict[str, str]], None]

FAULTY, SOUND, TWO = 2000, 600, 600
CASES = {
    "type spread": (SignalChain(), 0.85, 0.95),
    "measured transistor": (SignalChain(jfet_idss=2e-3, jfet_vgsoff=-1.2), 0.90, 0.97),
}


@pytest.mark.parametrize("name", CASES)
def test_bars(name: str, report: Show) -> None:
    chain, first, three = CASES[name]
    table = fault_table(chain)
    faulty = score(world(chain, table, FAULTY, 1, seed=1000))
    sound = score(world(chain, table, SOUND, 0, seed=1001))
    flagged = two_flagged(world(chain, table, TWO, 2, seed=1002))
    direct = score(world(chain, table, FAULTY // 4, 1, seed=1003), kinds=("ohm", "dc"), hear=False)
    curve = calibration(faulty, sound, table.limits.healthy)
    by_reading = range(faulty.place.shape[1])
    report(
        f"fault finder, {name}",
        {
            "undetectable": f"{1 - faulty.counted.mean():.3f}",
            "first, after 0 to 4 readings": " ".join(f"{faulty.found(1, k):.3f}" for k in by_reading),
            "top three": " ".join(f"{faulty.found(3, k):.3f}" for k in by_reading),
            "the very fault, ungrouped": f"{faulty.exactly:.3f}",
            "strict: all builds, first, top three": f"{faulty.found(1, counted=False):.3f} "
            f"{faulty.found(3, counted=False):.3f}",
            "ohms and DC volts alone, deaf": f"{direct.found():.3f} {direct.found(3):.3f}, "
            f"undetectable {1 - direct.counted.mean():.3f}",
            "healthy called healthy": " ".join(f"{sound.found(1, k, False):.3f}" for k in by_reading),
            "two faults flagged (4, 8, 12, 20)": " ".join(f"{flagged[:, k].mean():.3f}" for k in (4, 8, 12, 20))
            + f" of {len(flagged)}",
            "one fault taken for two": f"{faulty.two[faulty.counted].mean():.4f}",
            "stated probability": " ".join(f"{x:.2f}" for x in curve.stated),
            "share that was true": " ".join(f"{x:.2f}" for x in curve.true),
        },
    )
    assert faulty.found(1) >= first and faulty.found(3) >= three
    assert sound.found(1, counted=False) >= 0.97
    assert flagged[:, -1].mean() >= 0.80
    assert faulty.dangerous.any() and not faulty.powered_first[faulty.dangerous].any()
    assert faulty.two[faulty.counted].mean() < 0.01
    full = curve.count > 100
    assert np.abs(curve.stated - curve.true)[full].max() < 0.12
