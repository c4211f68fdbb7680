"""The light of a build: its resistor by Ohm's law, its share of the battery, and what it does to first power."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.build_options import LED_DROP_V, NO_LED, OPTIONS
from piezolab.studies.fading_battery import battery
from piezolab.studies.led import HEADROOM_V, LedError, led
from piezolab.studies.metering.board_under_meter import fed, under_meter
from piezolab.studies.metering.first_power import SERIES_OHM, first_power
from piezolab.studies.metering.probes import Probe, fed_at_probes

# Forward volts of small LEDs at about 1 mA, least and most met with: common practice, no source
MET_WITH = {"red": (1.6, 2.0), "yellow": (1.7, 2.1), "green": (1.8, 2.5), "blue": (2.5, 3.1), "white": (2.5, 3.1)}


def test_the_assumed_drops_are_those_met_with() -> None:
    assert set(OPTIONS["led"].choices) == {NO_LED, *MET_WITH} and OPTIONS["led"].default == NO_LED
    for colour, (least, most) in MET_WITH.items():
        assert least <= LED_DROP_V[colour] <= most
        assert f"{LED_DROP_V[colour]:g} V" in OPTIONS["led"].choices[colour], "said where it is chosen"


@given(st.floats(1.5, 30), st.sampled_from(sorted(LED_DROP_V)), st.booleans(), st.sampled_from([0, 1e-4, 2e-3, 5e-2]))
@settings(max_examples=60)
def test_the_resistor_is_ohms_law_and_a_preferred_value(volt: float, colour: str, guarded: bool, other: float) -> None:
    chain = SignalChain(supply="adapter", supply_v=volt, other_current=other)
    over = volt - LED_DROP_V[colour] - 0.2 * guarded
    if over < HEADROOM_V:
        with pytest.raises(LedError, match=r"LED: .* cannot be lit from .* allowed is"):
            led(chain, colour, guarded)
        return
    light = led(chain, colour, guarded)
    wanted = other if 2e-4 <= other <= 1e-2 else 1e-3
    assert light.ohm * light.ampere == pytest.approx(over)
    assert light.ampere == pytest.approx(wanted, rel=0.08), "E24 steps by 15 / 13 at most"
    assert round(light.ohm / 10 ** (np.floor(np.log10(light.ohm)) - 1)) in (
        10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
    )  # fmt: skip  (IEC 60063, E24)
    assert light.counted == (1.2 * other >= light.ampere)
    resistor, shines = light.parts
    assert resistor.nodes[1] == shines.nodes[0] and shines.nodes[1] == "ground"


def test_a_light_that_is_counted_shortens_the_batterys_life_by_what_it_draws() -> None:
    bare = SignalChain()
    light = led(bare, "red")
    assert not light.counted
    with_it = bare.but(other_current=float(f"{light.ampere:.2g}"))
    again = led(with_it, "red")
    assert again.counted and again.ampere == pytest.approx(light.ampere, rel=0.06)
    assert battery(with_it).life_h < 0.5 * battery(bare).life_h, "0.3 mA of the stage and 1 mA of the light"
    assert bias(with_it).supply_current - bias(bare).supply_current == pytest.approx(again.ampere, rel=0.06)


def test_first_power_reads_what_the_light_adds_by_another_route() -> None:
    """The loop of battery, resistor, diode, light and stage, the stage's current from its operating point alone."""
    chain = SignalChain(supply_c=0.0)
    light = led(chain, "red")

    def excess(plus: float) -> float:
        through = float(bias(chain.but(supply_v=plus)).supply_current) + max(plus - 1.8, 0.0) / light.ohm
        return plus + 0.02569 * np.log1p(through / 1e-6) + SERIES_OHM * through - 9.0

    plus = brentq(excess, 2.0, 9.0)
    through = float(bias(chain.but(supply_v=plus)).supply_current) + (plus - 1.8) / light.ohm
    found = first_power(chain, led=light)
    assert found.healthy.typical == pytest.approx(through * SERIES_OHM, rel=2e-3)
    assert found.healthy.typical > first_power(chain).healthy.typical + 0.5
    assert found.healthy.low < found.healthy.typical < found.healthy.high


def test_a_light_is_dark_under_its_drop_and_reversed() -> None:
    chain = SignalChain()
    light = led(chain, "blue", False)
    board = under_meter(chain, False, 3, led=light)
    for volt in (-9.0, 0.5, 2.7):
        bare = fed(under_meter(chain, False, 3), board.network, volt, 1e3)
        assert fed(board, board.network, volt, 1e3).ampere == pytest.approx(bare.ampere, abs=2e-11)
    lit = fed_at_probes(board, board.network, [Probe("led")], 9.0)[0]
    assert lit == pytest.approx(light.drop_v)
