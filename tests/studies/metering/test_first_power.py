"""First power: every limit against direct solutions of the faulty networks, three classes of transistor, all stages.

The networks here are put together anew: a short joins two nodes into one, the diode is a fixed drop (reversed: a leak),
the parts are other draws, the resistors have errors of their own.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, assemble
from piezolab.chain.link import from_link
from piezolab.circuit.elements import Capacitor, Jfet, Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.metering.board_under_meter import CLIP, clip_range, fed, under_meter
from piezolab.studies.metering.expected import meter_volts
from piezolab.studies.metering.first_power import FULL, FirstPower, first_power
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.population import builds

STAGES = (
    "",
    "return=tap&gate_stop=1k",
    "return=divider&supply_r=100",
    "stage=gain",
    "stage=gain&bypass_part=0.5",
    "stage=gain&bypass_c=0",
)
CLASSES = ("J201", "J113", "2N3819")  # small, middle and large drain current
COUNT, MANY = 100, 500


def readings(
    chain: SignalChain, volt: float, schottky: bool, short: tuple[str, str] = ("", ""), legs: str = "DGS",
    count: int = COUNT,
) -> np.ndarray:  # fmt: skip
    """Volts across the 1 kilohm for other parts than the study drew, or with a fault."""
    rng = np.random.default_rng(77)
    assembly = assemble(builds(chain, count, seed=123))
    elements = []
    for part in assembly.where("pickup", "lead", "board", "supply"):
        if part.kind == "battery":
            plus = part.nodes[0]
            continue
        element = part.element()
        if isinstance(element, Resistor) and part.where != "pickup":
            element = replace(element, ohm=element.ohm * (1 + 0.01 * rng.uniform(-1, 1, count)))
        if isinstance(element, Jfet):
            at = dict(zip("DGS", (element.drain, element.gate, element.source), strict=True))
            holes = dict(zip(legs, at.values(), strict=True))
            element = replace(element, drain=holes["D"], gate=holes["G"], source=holes["S"])
        elements.append(element)
    elements += [
        VoltageSource("cell", "contact", GROUND, volt),
        Resistor("1k", "contact", CLIP, 1e3 * (1 + 0.05 * rng.uniform(-1, 1, count))),
    ]
    elements += [Resistor(f"damp {node}", node, GROUND, 1e12) for node in lanes(chain) if node != GROUND]
    if not schottky:
        elements.append(Resistor("D", CLIP, plus, 0.05))
    elif volt < 0:
        elements.append(Resistor("D", CLIP, plus, 1e6))
    else:
        elements.append(VoltageSource("D", CLIP, plus, 0.17))
    keep, drop = (short if short[0] == GROUND else short[::-1]) if short[0] else ("", "")

    def joined(node: str) -> str:
        return keep if node == drop else node

    merged = []
    for element in elements:
        fields = {
            name: joined(getattr(element, name))
            for name in ("a", "b", "drain", "gate", "source")
            if hasattr(element, name)
        }
        if "a" in fields and fields["a"] == fields["b"]:
            continue
        merged.append(replace(element, **fields))
    point = operating_point(Network(merged))
    return np.broadcast_to(point.voltage("contact", joined(CLIP)), count)


def share(values: np.ndarray, low: float, high: float) -> float:
    return float(np.mean((values >= low) & (values <= high)))


def lanes(chain: SignalChain) -> tuple[str, ...]:
    return under_meter(chain, size=2).lanes


@pytest.mark.parametrize("jfet", CLASSES)
@pytest.mark.parametrize("stage", STAGES)
def test_every_limit_separates_what_it_claims(stage: str, jfet: str) -> None:
    chain = from_link(f"{stage}&jfet={jfet}".strip("&"))
    found = first_power(chain)
    bands = {(band.fault.a, band.fault.b, band.fault.order): band for band in found.faults}
    ends = clip_range(chain)
    for volt in ends:
        assert share(readings(chain, volt, True, count=MANY), found.healthy.low, found.healthy.high) >= 0.96
    for a, b in combinations(lanes(chain), 2):
        band = bands[a, b, ""]
        for volt in ends:
            _as_claimed(found, band, readings(chain, volt, True, (a, b)), volt)
    for order in ("SGD", "DSG", "GDS", "GSD", "SDG"):
        band = bands["", "", order]
        for volt in ends:
            faulty = readings(chain, volt, True, legs=order, count=MANY)
            if band.verdict == "harmless":
                assert share(faulty, found.healthy.low, found.healthy.high) >= 0.96
            else:
                _as_claimed(found, band, faulty, volt)
    assert found.unseen and all(band.test is not None for band in found.unseen)


def _as_claimed(found: FirstPower, band, faulty: np.ndarray, volt: float) -> None:
    """Not one in fifty of the faulty builds may read as something else than what is claimed."""
    what = (band.fault, band.verdict, volt)
    if band.verdict == "low":
        assert share(faulty, -np.inf, found.healthy.low) >= 0.97, what
    elif band.verdict in ("high", "full"):
        assert share(faulty, found.healthy.high, np.inf) >= 0.97, what
        if band.verdict == "full":
            assert share(faulty / volt, FULL, np.inf) >= 0.97, what
    else:
        assert band.verdict == "cannot tell"
        assert share(faulty, band.band.low, band.band.high) >= 0.9, what


@pytest.mark.parametrize("stage", STAGES[::2])
def test_the_other_test_tells_what_the_first_cannot(stage: str) -> None:
    """Volts of exchanged legs on other parts; ohms of a short are its own few tenths."""
    chain = from_link(stage)
    for band in first_power(chain).unseen:
        test = band.test
        assert test.kind in ("ohms", "volts", "transistor")
        if test.kind == "ohms":
            assert test.faulty.high < test.sound.low
        if test.kind == "volts":
            assert test.faulty.high < test.sound.low or test.faulty.low > test.sound.high
            sound = {each.lane: each.expected for each in meter_volts(under_meter(chain), series_ohm=1e3)}[test.a]
            assert (sound.low, sound.high) == pytest.approx((test.sound.low, test.sound.high), rel=0.15, abs=0.05)


def test_overlap_is_declared_where_there_is_one() -> None:
    """Where other parts hold the current down, a short hides behind the healthy spread, and that is said."""
    gain = first_power(from_link("stage=gain"))
    hidden = {(band.fault.a, band.fault.b) for band in gain.unseen}
    assert ("source", GROUND) in hidden and ("jack", GROUND) in hidden
    for band in gain.unseen:
        assert band.band.high >= gain.healthy.low and band.band.low <= gain.healthy.high


@pytest.mark.parametrize("stage", STAGES)
def test_reversed_battery(stage: str) -> None:
    chain = from_link(stage)
    guarded, bare = first_power(chain), first_power(chain, schottky=False)
    for volt in clip_range(chain):
        assert share(readings(chain, -volt, True), guarded.reversed.low, 0.0) == 1.0
        assert share(readings(chain, -volt, False, count=MANY), bare.reversed.low, bare.reversed.high) >= 0.96
    assert bare.reversed.high < 0 <= guarded.reversed.high < guarded.healthy.low


def test_a_dead_short_shows_the_full_battery_and_nothing_sound_does() -> None:
    for link in ("stage=gain", "jfet=J310&source_r=100"):
        found = first_power(from_link(link))
        dead = next(band for band in found.faults if (band.fault.a, band.fault.b) == (CLIP, GROUND))
        full = dead.band.low > found.healthy.high
        assert (dead.verdict == "full") == full
        assert found.full_is_clear == (found.healthy_part.high < FULL)


def test_watts_and_short_by_hand() -> None:
    """9.4 V fresh, 1.7 ohm inside: a 1 kilohm takes 93 mW, a dead short 5.4 A, some 49 W inside the battery."""
    found = first_power(from_link("supply=alkaline-9v"))
    kind = catalogue.batteries()["alkaline-9v"]
    assert found.watt_needed == pytest.approx(kind.fresh_v**2 / 950)
    assert found.watt == 0.25
    assert found.short.ampere == pytest.approx(kind.fresh_v / (kind.r_fresh + 0.05))
    assert found.short.watt == pytest.approx(found.short.ampere**2 * kind.r_fresh)
    assert first_power(from_link("supply=adapter&supply_v=24")).short is None
    assert first_power(from_link("supply=adapter&supply_v=24")).watt == 2.0


def test_ohms_at_the_clip_are_never_near_zero_on_a_sound_board() -> None:
    for link in STAGES[::3]:
        for schottky in (True, False):
            found = first_power(from_link(link), schottky)
            assert found.clip_off.low == np.inf
            assert min(found.clip_on.low, found.clip_on_reversed.low) > 100
    guarded = first_power(SignalChain())
    assert guarded.clip_on_reversed.high > 1.5 * guarded.clip_on.high  # a diode that hardly leaks blocks


@pytest.mark.parametrize("link", ["", "stage=gain", "return=divider&divider_c=4.7u&supply_c=470u"])
def test_reading_has_settled_after_the_computed_time(link: str) -> None:
    """The nonlinear network in time: each capacitor a voltage of its own, all empty at the start."""
    chain = from_link(link)
    found = first_power(chain, schottky=False)
    built = under_meter(chain, schottky=False, size=2)
    network = fed(built, built.nominal, chain.supply_v, 1e3).network
    capacitors = [
        element
        for element in network
        if isinstance(element, Capacitor) and not element.name.startswith(("C_p", "C_lead"))
    ]
    rest = [element for element in network if not isinstance(element, Capacitor)]

    def at(volt: np.ndarray):
        held = [VoltageSource(c.name, c.a, c.b, v) for c, v in zip(capacitors, volt, strict=True)]
        return operating_point(Network([*rest, *held]))

    def slope(_: float, volt: np.ndarray) -> np.ndarray:
        point = at(volt)
        return np.array([float(point.branch_currents[c.name]) / c.farad for c in capacitors])

    run = solve_ivp(slope, (0, found.wait_s), np.zeros(len(capacitors)), method="BDF", rtol=1e-5, atol=1e-5)
    shown = float(at(run.y[:, -1]).voltage("cell", CLIP))
    assert shown == pytest.approx(found.healthy.typical, rel=0.03)
    early = float(at(run.y[:, np.searchsorted(run.t, found.wait_s / 200)]).voltage("cell", CLIP))
    assert early != pytest.approx(found.healthy.typical, rel=0.05)


def test_no_stage_no_first_power() -> None:
    with pytest.raises(ValueError, match="nothing on a bench"):
        first_power(from_link("stage=direct"))


def test_a_coarse_meter_widens_every_band() -> None:
    fine, coarse = first_power(SignalChain()), first_power(SignalChain(), meter=Meter(accuracy=0.05, digits=10))
    assert coarse.healthy.low < fine.healthy.low and coarse.healthy.high > fine.healthy.high
