"""How long a board takes to lay out, in the middle and at worst, against the yardstick's fixed work in the same run.

The bars are 1 s in the middle and 3 s at worst on two cores, on which the yardstick takes about 22 ms: 45 and 136
times that.
"""

import statistics
import time
from itertools import product

from piezolab.chain.link import from_link
from piezolab.studies.board.layout import METHODS, Options, layout
from tests.benchmarks.yardstick import yardstick_ms

LINKS = (
    "",
    "stage=gain",
    "gate_r=100M",
    "source_r=0&out_c=100u&supply_c=1m",
    "return=divider&gate_stop=1k&drain_r=1k&supply_r=1k&bypass_c=10u&bypass_part=0.5",
    "return=tap&stage=gain&bypass_part=0.7&supply_r=100&gate_stop=1k",
)
MIDDLE, WORST = 45, 136


def test_layout_of_every_kind_of_board(report) -> None:
    unit = yardstick_ms()
    spent = {}
    for link, method, pins in product(LINKS, METHODS, ("D G S", "D S G")):
        chain = from_link(link)
        start = time.perf_counter()
        layout(chain, Options(method=method, pins=pins))
        spent[link, method, pins] = 1e3 * (time.perf_counter() - start)
    unit = (unit + yardstick_ms()) / 2
    middle, worst = statistics.median(spent.values()), max(spent.values())
    of_method = {
        method: f"{max(ms for key, ms in spent.items() if key[1] == method) / unit:6.1f} at worst" for method in METHODS
    }
    report("layout", {"median": f"{middle / unit:6.1f}", "worst": f"{worst / unit:6.1f}", **of_method})
    assert middle < MIDDLE * unit and worst < WORST * unit
