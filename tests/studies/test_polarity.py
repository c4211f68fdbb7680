"""Two equal pickups together, one through the chain: against the sum of two sines in time."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.polarity import second_pickup
from piezolab.studies.response import response


@pytest.mark.parametrize(
    "chain",
    [
        SignalChain(),
        SignalChain(stage="gain"),
        SignalChain(stage="direct", pickup_c=1.5e-9, input="line"),
        SignalChain(stage="gain", gate_r=47e3, pickup_c=2.2e-9),
    ],
)
def test_against_two_sines_added_in_time(chain: SignalChain) -> None:
    found = second_pickup(chain)
    phase = np.radians(response(chain, found.frequency).phase_deg)
    turn = np.linspace(0, 2 * np.pi, 10_000, endpoint=False)
    for n in range(2):
        alone = np.sin(turn)
        for sign, level in ((1, found.together_db[n]), (-1, found.swapped_db[n])):
            both = np.sin(turn) + sign * np.sin(turn + phase[n])
            rms = np.sqrt(np.mean(both**2) / np.mean(alone**2))
            assert 10 ** (level / 20) == pytest.approx(rms, abs=1e-9)


def test_a_stage_that_inverts_cancels_and_swapped_wires_mend_it() -> None:
    follower, gain = (second_pickup(SignalChain(stage=stage)) for stage in ("follower", "gain"))
    assert not follower.inverts and gain.inverts
    assert np.all(follower.together_db > 6.0) and np.all(gain.together_db < -14)
    assert np.all(gain.swapped_db > 5.9)


def test_a_chain_that_gives_nothing() -> None:
    assert np.all(np.isnan(second_pickup(SignalChain(stage="direct", discs="2px")).together_db))
