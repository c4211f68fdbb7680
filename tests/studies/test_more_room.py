"""More room: each change, made, gives what it claims, and the list leaves no better single one of its kind out."""

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.levels import levels
from piezolab.studies.more_room import more_room

CHAINS = [
    SignalChain(),
    SignalChain(stage="gain"),
    SignalChain(stage="direct", play_v=3.0),
    SignalChain(input="microphone"),
]


@pytest.mark.parametrize("chain", CHAINS, ids=str)
def test_each_change_does_what_it_claims(chain: SignalChain) -> None:
    found = more_room(chain)
    assert found
    assert [c.more_db for c in found] == sorted((c.more_db for c in found), reverse=True)
    for change in found:
        then = chain.but(change.changes)
        gained = float(levels(then).input_headroom_db - levels(chain).input_headroom_db)
        assert change.more_db == pytest.approx(gained) and gained > 0
        if then.topology.powered:
            assert str(bias(then).region) == "saturation"


def test_halving_the_source_resistor_hardly_moves_a_followers_cut_off() -> None:
    """With the gate at ground it cuts off where the gate is V_GS(off) below the source's rest at 0 V, whatever R_S."""
    names = {change.name: change.more_db for change in more_room(SignalChain(input="line"))}
    assert names.get("half source resistor", 0.0) < 1.5
    assert names["tap"] > 3


def test_nothing_is_promised_without_a_signal() -> None:
    assert more_room(SignalChain(discs="2px", stage="direct")) == ()
