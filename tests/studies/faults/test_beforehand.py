"""Before anything is read, simulated builds and the table of the trade must say the same."""

import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults.beforehand import beforehand, by_eye
from piezolab.studies.faults.diagnosis import diagnose
from piezolab.studies.faults.drawn_board import side_by_side, table_of
from piezolab.studies.faults.fault_network import fault_network
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.making import fault_table, faults_of


@pytest.mark.parametrize("changes", [{}, {"stage": "gain"}, {"stage": "direct"}, {"supply": "adapter"}])
def test_places_are_as_likely_as_a_diagnosis_without_readings_says(changes) -> None:
    chain = SignalChain(**changes)
    places, found = beforehand(chain), diagnose(fault_table(chain))
    assert {each.spot for each in places} == {each.spot for each in found.spots}
    for each in places:
        assert each.probability == pytest.approx(found.probability(each.spot), rel=1e-5)
        other = next(spot for spot in found.spots if spot.spot == each.spot)
        shares = {fault.key: fault.probability for fault in other.faults}
        assert {fault.key: fault.probability for fault in each.faults} == pytest.approx(shares, rel=1e-5)
    assert by_eye(places) == pytest.approx(dict(found.to_try)["looked"], rel=1e-5)
    assert not found.stop, "the headline needs no simulation to say that nothing is known to be hot"


def test_board_and_switch_of_the_build_reach_the_table() -> None:
    """Side by side on copper tape: pickup, ground, supply, source, jack; legs D S G: supply, source, gate. A stereo
    plug matters only to a ring contact."""
    chain, tape = SignalChain(), BoardAsBuilt(method="tape")
    assert side_by_side(chain, tape.layout(chain)) == {
        ("ground", "pickup"), ("ground", "supply"), ("pickup", "source"), ("jack", "source"), ("source", "supply"),
    }  # fmt: skip
    drawn = table_of(chain, tape)
    share = {fault.key: float(p) for fault, p in zip(drawn.hypotheses, drawn.prior, strict=True)}
    far = share["lane_bridge:jack|pickup"]
    assert share["lane_bridge:pickup|source"] == pytest.approx(10 * far)
    assert not any(key.startswith("stereo_plug") for key in share)
    places = {each.spot: each.probability for each in diagnose(drawn).spots}
    for each in beforehand(chain):
        if not each.spot.startswith(("bridge:", "legs:")):
            assert each.probability == pytest.approx(places[each.spot], rel=1e-5), "no board is drawn for the outlook"
    network = fault_network(assemble(chain.values))
    assert any(fault.kind == "stereo_plug" for fault in faults_of(chain, network, ring=True))


def test_they_add_up_and_the_likeliest_comes_first() -> None:
    """15 % of the builds brought for repair are sound: data/faults.toml, common practice, no source."""
    places = beforehand(SignalChain())
    shares = [each.probability for each in places]
    assert sum(shares) == pytest.approx(1.0, rel=1e-9) and shares == sorted(shares, reverse=True)
    sound = next(each for each in places if each.spot == "healthy")
    assert sound.probability == pytest.approx(knowledge().limits.healthy, rel=1e-9)
