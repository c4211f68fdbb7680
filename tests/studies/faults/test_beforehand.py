"""Before anything is read, simulated builds and the table of the trade must say the same."""

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.faults.beforehand import beforehand
from piezolab.studies.faults.diagnosis import diagnose
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.making import fault_table


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
    assert not found.stop, "the headline needs no simulation to say that nothing is known to be hot"


def test_they_add_up_and_the_likeliest_comes_first() -> None:
    """15 % of the builds brought for repair are sound: data/faults.toml, common practice, no source."""
    places = beforehand(SignalChain())
    shares = [each.probability for each in places]
    assert sum(shares) == pytest.approx(1.0, rel=1e-9) and shares == sorted(shares, reverse=True)
    sound = next(each for each in places if each.spot == "healthy")
    assert sound.probability == pytest.approx(knowledge().limits.healthy, rel=1e-9)
