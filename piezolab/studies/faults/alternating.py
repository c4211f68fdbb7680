"""A batch of builds under alternating current of one frequency, their transistors attached."""

from __future__ import annotations

import numpy as np

from piezolab.chain.assembly import GROUND, PICKUP
from piezolab.studies.faults.fault_network import FaultNetwork
from piezolab.studies.faults.multiport import at_ports, solutions
from piezolab.studies.faults.network_names import SLEEVE, Settings
from piezolab.studies.faults.transistors import Transistors

# stray capacitance from room wiring to the pickup's lane, and to everything that hangs on the board's ground (F)
HUM_FARADS = (0.5e-12, 20e-12)


class Alternating:
    """The plugged-in chain at one frequency; `probed`: with what `tone` needs."""

    def __init__(
        self,
        network: FaultNetwork,
        settings: Settings,
        size: int,
        transistors: Transistors,
        slopes: np.ndarray,
        hertz: float,
        probed: bool = True,
    ) -> None:
        places = [place for place in network.places if place.key != "clip"] if probed else []
        self.keys = [place.key for place in places]
        self.omega = 2 * np.pi * hertz
        self.level = settings.get("tone.level", 1.0)
        probes, load = [(place.a, place.b) for place in places], (network.load.a, network.load.b)
        drive = {name: settings[f"{name}.drive"] * settings["disc.output"] for name in network.sources}
        stray = (HUM_FARADS[0] * settings["disc.hum"], HUM_FARADS[1])
        hum = [[(SLEEVE, node, farad)] for node, farad in zip((PICKUP, GROUND), stray, strict=True)]
        sent = [[(GROUND, PICKUP, 1.0)]] if probed else []
        holes, s = network.holes, 3 + len(sent)
        h = len(holes)
        v, own = solutions(
            (*network.wires, *network.plugged),
            settings,
            [drive, *hum, *sent, *([(GROUND, hole, 1.0)] for hole in holes)],
            [*((hole, GROUND) for hole in holes), *probes, load],
            size,
            self.omega,
            probes,
        )
        ports = at_ports(transistors.combine, v[:h])
        z = ports[:, :, s:] @ np.swapaxes(transistors.combine, 1, 2)
        y = transistors.admittance(slopes, self.omega)
        count = y.shape[-1]
        closed = np.linalg.inv(np.eye(count) + z @ y) if count else z
        self.port_v = (closed @ ports[:, :, :1])[:, :, 0]
        self.port_i = (y @ self.port_v[:, :, None])[:, :, 0]
        # the network is reciprocal: what the ports do to a place or the load is what these do to the ports
        reach = at_ports(transistors.combine, np.swapaxes(v[h:, s:], 0, 1))
        drawn = y @ closed
        to_load = np.swapaxes(reach[:, :, -1:], 1, 2)
        #: at the load, of currents through the ports: (P, 1, 2K)
        self.out = to_load @ (drawn @ z - np.eye(count))
        by_source = v[h:, :s] - np.moveaxis(np.swapaxes(reach, 1, 2) @ (drawn @ ports[:, :, :s]), 0, -1)
        self.gain = np.abs(by_source[-1, 0])
        self.hum = np.sqrt(np.abs(by_source[-1, 1]) ** 2 + np.abs(by_source[-1, 2]) ** 2)
        if probed:  # of a place: what the tone's current does to it, what its own does to the tone's lane and to itself
            fed, at = self.keys.index(PICKUP), reach[:, :, :-1]
            back = drawn @ at
            self.from_tone, self.to_load = by_source[:-1, -1], by_source[-1, -1]
            self.to_tone = v[h:-1, s - 1] - np.sum(at[:, :, fed, None] * back, axis=1).T
            self.own = own - np.sum(at * back, axis=1).T

    def tone(self, v_rms: float, farad: float, input_ohm: float) -> dict[str, np.ndarray]:
        """The tone, V rms behind a capacitor of F, by place with a meter of so many ohm there, and at the load without:
        V rms."""
        fed = self.keys.index(PICKUP)
        y = 1j * self.omega * farad
        damping = 1.0 / (1.0 + y * self.own[fed])
        current = y * v_rms * self.level
        found = {"load": np.abs(current * self.to_load * damping)}
        for k, key in enumerate(self.keys):
            own = self.own[k] - self.from_tone[k] * self.to_tone[k] * y * damping
            open_ = current * self.from_tone[k] * damping
            found[key] = np.abs(open_ * input_ohm / (input_ohm + own))
        return found
