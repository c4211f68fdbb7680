"""More room: each change, made, gives what it claims, and the list leaves no better single one of its kind out."""

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.judging.judgement import Judgement
from piezolab.studies.levels import levels
from piezolab.studies.more_room import more_room

CHAINS = [
    SignalChain(),
    SignalChain(stage="gain"),
    SignalChain(stage="direct", input="microphone", pickup_c=200e-9, discs="2p", play_v=3.0),
    SignalChain(input="line"),
    SignalChain(input="microphone"),
]


@pytest.mark.parametrize("chain", CHAINS, ids=str)
def test_each_change_does_what_it_claims(chain: SignalChain) -> None:
    found = more_room(chain)
    assert [c.more_db for c in found] == sorted((c.more_db for c in found), reverse=True)
    for change in found:
        then = chain.but(change.changes)
        gained = float(levels(then).input_headroom_db - levels(chain).input_headroom_db)
        assert change.more_db == pytest.approx(gained) and gained >= 0.5
        if then.topology.powered:
            assert str(bias(then).region) == "saturation"
        before, after = Judgement(chain), Judgement(then)
        # bass and quiet plugging are not sold for room
        assert after.sound.balance_db >= min(-1.0, float(before.sound.balance_db))
        assert after.quiet_to_plug or not before.quiet_to_plug
        assert after.working is None or after.working.life or not before.working.life


def test_what_the_reader_did_not_ask_for_is_not_offered() -> None:
    """A pad of 22 kilohm loads a bare pickup of 15 nF: its corner rises to 480 Hz, and the bass is gone. Where there is
    room enough nothing is offered, and a pad is where the input clips first."""
    assert [c.name for c in more_room(SignalChain(stage="direct", play_v=3.0))] == []
    assert more_room(SignalChain(play_v=0.1)) == ()
    assert {c.name for c in more_room(SignalChain(input="microphone"))} == {"pad"}
    assert not [c for chain in CHAINS[:2] for c in more_room(chain) if c.costs and c.name != "pad"]


def test_halving_the_source_resistor_hardly_moves_a_followers_cut_off() -> None:
    """With the gate at ground it cuts off where the gate is V_GS(off) below the source's rest at 0 V, whatever R_S."""
    names = {change.name: change.more_db for change in more_room(SignalChain(input="line"))}
    assert names.get("half source resistor", 0.0) < 1.5
    assert names["tap"] > 3


def test_nothing_is_promised_without_a_signal() -> None:
    assert more_room(SignalChain(discs="2px", stage="direct")) == ()
