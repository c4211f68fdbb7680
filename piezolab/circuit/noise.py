"""Noise of a network at its operating point, split by contributor, from one adjoint solution per frequency.

Each contributor is a current between two nodes or a voltage in series with a branch; the adjoint solution holds the
transfer from all of them to the output at once. Densities are one-sided, in V^2/Hz at the output.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from piezolab.circuit.clamp import clamp_noise
from piezolab.circuit.elements import GROUND, Capacitor, Clamp, Jfet, NoiseVoltage, Resistor
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import BOLTZMANN, ELEMENTARY_CHARGE, REFERENCE_C, ZERO_CELSIUS, JfetModel
from piezolab.circuit.network import SMALL_OHM, Network, ac_equations, wide
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint
from piezolab.circuit.small_signal import linearised

Value = float | np.ndarray


@dataclass(frozen=True)
class NoiseResult:
    """Densities at the output in V^2/Hz, shape batch + frequency: by contributor, and their sum.

    Contributors bear the names of their elements; a transistor `Q` has two, `Q channel` and `Q gate`. transfer: from
    each voltage source asked for to the output, complex, of the same shape.
    """

    frequency: np.ndarray
    density: Mapping[str, np.ndarray]
    total: np.ndarray
    transfer: Mapping[str, np.ndarray] = field(default_factory=dict)


def noise(
    network: Network,
    point: OperatingPoint,
    frequency: np.ndarray | float,
    output: str,
    reference: str = GROUND,
    *,
    temp_c: Value = REFERENCE_C,
    sources: Iterable[str] = (),
) -> NoiseResult:
    """Noise of v(output) - v(reference) at `frequency` (Hz, above 0, 0 or 1 axes); resistors and dielectrics at temp_c.

    Resistors 4kTR (H. Nyquist, Phys. Rev. 32 (1928) 110-113), dielectric loss 4kT*omega*C*tan(delta) by the same
    theorem, transistors as in `channel_noise` and `gate_noise` at their model's own temperature, NoiseVoltage as
    given; the same solution holds the transfer from `sources`. Raises CircuitError on a frequency of 0 or less or
    an unknown node, and SingularNetworkError.
    """
    frequency = np.asarray(frequency, float)
    if not np.all(frequency > 0):
        raise CircuitError(f"noise needs frequencies above 0 Hz; the lowest given is {np.min(frequency)} Hz")
    for node in (output, reference):
        if node != GROUND and node not in network.nodes:
            raise CircuitError(f"the network has no node {node!r}; there are {', '.join(network.nodes)}")
    linear = linearised(network, point)
    omega = 2 * np.pi * frequency
    weights: dict[str, Value] = {}
    for node, sign in ((output, 1.0), (reference, -1.0)):
        if node != GROUND:
            weights[node] = weights.get(node, 0.0) + sign
    equations = ac_equations(linear, omega)
    (reach,) = equations.solve_adjoint(weights)
    reach[GROUND] = 0.0
    four_kt = 4 * BOLTZMANN * wide(np.asarray(temp_c, float) + ZERO_CELSIUS, frequency.ndim)
    batch = np.broadcast_shapes(linear.batch_shape, np.shape(temp_c))
    shape = batch + frequency.shape
    density = {
        name: np.broadcast_to(np.asarray(value, float), shape)
        for name, value in _contributions(network, point, frequency, reach, four_kt, equations.branches)
    }
    driven = {name: np.broadcast_to(np.asarray(reach[name], complex), shape) for name in sources}
    return NoiseResult(frequency, MappingProxyType(density), sum(density.values(), np.zeros(shape)), driven)


def _contributions(
    network: Network,
    point: OperatingPoint,
    frequency: np.ndarray,
    reach: Mapping[str, Value],
    four_kt: Value,
    branches: Mapping[str, None],
) -> Iterator[tuple[str, Value]]:
    axes = frequency.ndim

    def between(a: str, b: str) -> Value:
        return _squared(reach[a] - reach[b])

    for element in network:
        match element:
            case Resistor(name=name, a=a, b=b, ohm=ohm):
                ohm = wide(ohm, axes)
                if name not in branches:
                    yield name, four_kt / ohm * between(a, b)
                elif np.max(ohm) < SMALL_OHM:  # as a voltage in series: 0 ohm then gives none
                    yield name, four_kt * ohm * _squared(reach[name])
                else:
                    small = ohm < SMALL_OHM
                    in_series, beside = np.where(small, ohm, 0.0), np.where(small, 0.0, 1 / np.maximum(ohm, SMALL_OHM))
                    yield name, four_kt * (in_series * _squared(reach[name]) + beside * between(a, b))
            case Capacitor(name=name, a=a, b=b, farad=farad, loss_tangent=loss) if np.any(loss):
                siemens = 2 * np.pi * frequency * wide(farad, axes) * wide(loss, axes)
                yield name, four_kt * siemens * between(a, b)
            case NoiseVoltage(name=name, v_per_rthz=density):
                yield name, wide(density, axes) ** 2 * _squared(reach[name])
            case Clamp(name=name, gate=a, source=b, model=model):
                yield name, wide(clamp_noise(model, point.jfets[name].v_gs), axes) * between(a, b)
            case Jfet(name=name, drain=d, gate=g, source=s, model=model):
                at = point.jfets[name]
                flat, corner = channel_noise(model, at), wide(model.corner_hz, axes)
                yield f"{name} channel", wide(flat, axes) * (1 + corner / frequency) * between(d, s)
                to_source, to_drain = gate_noise(model, at)
                yield f"{name} gate", wide(to_source, axes) * between(g, s) + wide(to_drain, axes) * between(g, d)


def _squared(value: Value) -> Value:
    return np.real(value) ** 2 + np.imag(value) ** 2


def channel_noise(model: JfetModel, at: JfetPoint) -> np.ndarray:
    """White part of the channel's noise current, A^2/Hz, between drain and source.

    4kT*(2/3)*g_d0*(1 + eta + eta^2)/(1 + eta), where eta = 1 - |V_DS|/V_DS,sat in the triode region and 0 in
    saturation, and g_d0 = 2*beta*V_DS,sat*(1 + lambda*|V_DS|), which is g_m in saturation. At V_DS = 0 this is the
    Johnson noise of the open channel. After A. van der Ziel, "Thermal noise in field-effect transistors", Proc. IRE
    50 (1962) 1808-1812, in the form usual for a square-law channel. A reversed channel counts from its other end.
    """
    across, drive = np.abs(at.v_ds), at.v_ds_sat
    eta = np.clip(1 - across / np.where(drive > 0, drive, 1.0), 0.0, 1.0)
    g_d0 = 2 * model.beta * drive * (1 + model.lambda_ * across)
    kelvin = np.asarray(model.temp_c, float) + ZERO_CELSIUS
    return 4 * BOLTZMANN * kelvin * (2 / 3) * g_d0 * (1 + eta + eta**2) / (1 + eta)


def gate_noise(model: JfetModel, at: JfetPoint) -> tuple[np.ndarray, np.ndarray]:
    """Shot noise of the two gate junctions, A^2/Hz: gate to source, gate to drain.

    2q times all that crosses the junction, forwards and backwards together: I + 2 I_S for a diode (I = I_S(e^x - 1)),
    and I_GSS for the leakage. Reversed or conducting this is 2q|I_G|; without voltage it is the Johnson noise of the
    junction's conductance, as equilibrium demands (W. Schottky, Ann. Phys. 362 (1918) 541-567; Nyquist as above).
    """
    leakage = np.asarray(model.leakage, float)
    crossing_source = at.i_gs + 2 * model.saturation_current
    through_leak = leakage * np.tanh((at.v_gs - at.v_ds) / (2 * model.thermal_voltage))
    crossing_drain = (at.i_gd - through_leak) + 2 * model.saturation_current + leakage
    return 2 * ELEMENTARY_CHARGE * crossing_source, 2 * ELEMENTARY_CHARGE * crossing_drain
