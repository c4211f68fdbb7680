"""How probable each place is before anything was read or heard: no build has to be simulated for that."""

from __future__ import annotations

from collections.abc import Sequence

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.studies.build_options import NO_LED
from piezolab.studies.faults.diagnosis import FaultShare, SpotShare
from piezolab.studies.faults.fault_network import fault_network
from piezolab.studies.faults.known_besides import seen_share
from piezolab.studies.faults.making import faults_of, priors
from piezolab.studies.led import led_if_lit


def beforehand(
    chain: SignalChain, diode: bool = True, ring: bool = False, light: str = NO_LED
) -> tuple[SpotShare, ...]:
    """Places with their faults by prior probability, the likeliest first, "healthy" among them.

    The same as `Diagnosis.spots` with no reading and nothing heard, but that bridges of lanes count alike wherever the
    lanes lie: no board is drawn for this. diode, ring, light: as in `making.fault_table`. Raises
    CircuitError where the chain has no operating point.
    """
    network = fault_network(assemble(chain.values), diode, led_if_lit(chain, light, diode))
    faults = faults_of(chain, network, ring)
    groups: dict[str, list[FaultShare]] = {}
    for fault, share in zip(faults, priors(faults), strict=True):
        one = FaultShare(fault.key, fault.kind, fault.spot, fault.parts, float(share))
        groups.setdefault(fault.spot, []).append(one)
    spots = [
        SpotShare(
            spot,
            sum(fault.probability for fault in group),
            tuple(sorted(group, key=lambda fault: -fault.probability)),
        )
        for spot, group in groups.items()
    ]
    return tuple(sorted(spots, key=lambda each: -each.probability))


def by_eye(spots: Sequence[SpotShare]) -> float:
    """How probable it is that comparing the board with the drawing finds the fault, from the places' probabilities."""
    return sum(fault.probability * seen_share(fault.kind, fault.spot) for spot in spots for fault in spot.faults)
