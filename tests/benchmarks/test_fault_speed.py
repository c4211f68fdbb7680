"""What the fault finder costs: once for each chain, and for each reading."""

from collections.abc import Callable

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias_population
from piezolab.studies.faults import Meter, Reading, Tone, diagnose, fault_table, predicted
from piezolab.studies.faults.making import SIZE, _made
from tests.benchmarks.test_figures_speed import fastest

Show = Callable[[str, dict[str, str]], None]

CHAINS = {
    "follower": SignalChain(),
    "gain stage": SignalChain(stage="gain"),
    "largest": SignalChain({"stage": "gain", "return": "divider", "supply_r": 470.0, "gate_stop": 1e3}),
}


def test_table_and_answers(report: Show) -> None:
    """A table within 3 s and an answer within 0.5 s of a reading; both against the bias of the chain's population.

    A table holds a reading of some thirty kinds for each of tens of thousands of builds; per build it may cost three
    hundred times what one bias of one build costs in a batch, and half as much again with a sweep's readings.
    """
    rows = {}
    for name, chain in CHAINS.items():
        bias = fastest(lambda chain=chain: bias_population(chain), 2)
        fastest(lambda chain=chain: _made.__wrapped__(chain, Meter(), Tone(), 8), 1)  # the order of elimination is kept
        making = fastest(lambda chain=chain: _made.__wrapped__(chain, Meter(), Tone(), SIZE), 1)
        swept = fastest(lambda chain=chain: _made.__wrapped__(chain, Meter(), Tone(), SIZE, swept=True), 1)
        table = fault_table(chain)
        expected = predicted(table, "open:C_out")
        readings = [Reading(*key.split(":"), value[1]) for key, value in expected.items() if ":load" not in key]
        answers = [
            fastest(lambda n=n, readings=readings, table=table: diagnose(table, readings[:n], ("weak", "dead")), 3)
            for n in (0, 1, 4, 12, len(readings))
        ]
        builds = len(table.weight)
        ratio = making / builds / (bias / 2000)
        rows[name] = (
            f"{builds} builds {making:5.2f} s, {ratio:4.0f} biases each, with a sweep {swept / making:.2f} times; "
            + "answers " + ", ".join(f"{1e3 * answer:.0f}" for answer in answers) + " ms"
        )  # fmt: skip
        assert ratio < 300 and swept < 1.5 * making
        assert max(answers) < 0.5 and max(answers) < making
        assert making < 3.0
    report("fault finder", rows)
