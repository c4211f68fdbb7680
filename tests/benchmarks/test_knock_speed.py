"""What the quick answer about a knock costs beside the whole one: a ratio taken in one run."""

import statistics
import time
from collections.abc import Callable

from piezolab.chain import SignalChain
from piezolab.studies.kept import forget
from piezolab.studies.knock import knock
from piezolab.studies.linear import LinearChain
from piezolab.studies.quick_knock import quick_knock

Show = Callable[[str, dict[str, str]], None]


def test_a_quick_knock_costs_a_third_of_the_whole(report: Show) -> None:
    chain = SignalChain(clamp="pair")
    ratios = []
    for _ in range(3):
        spent = []
        for ask in (knock, quick_knock):
            forget()
            assert LinearChain.of(chain.values).works  # solved beforehand, for both alike
            start = time.perf_counter()
            ask(chain)
            spent.append(time.perf_counter() - start)
        ratios.append(spent[1] / spent[0])
    found = statistics.median(ratios)
    report("a knock", {"quick over whole": f"{found:.3f}"})
    assert found < 1 / 3
