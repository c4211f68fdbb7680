"""The polarity diode in the battery's plus lead, as a resistance that follows its current.

Forward by Shockley's law with n = 1 and the saturation current of `studies.metering.board_under_meter`; backwards it
leaks a current of its own, larger than that law says, as Schottky diodes do (common practice, no source). A short, or a
wire in its place, lies beside it. The resistance is found in turns with the current: forward the current is given by
the rest of the circuit, backwards the voltage, so few turns are enough.
"""

from __future__ import annotations

import numpy as np

from piezolab.studies.faults.network_names import Settings

THERMAL_V = 0.02569  # kT/q at 25 degC
_GUESS_A = 0.3e-3
_LEAST_V, _LEAST_A = 1e-9, 1e-15
_SCALAR_TURNS = 12


def _law(name: str, settings: Settings, size: int) -> tuple[np.ndarray, ...]:
    """Saturation current and leak in A, turned or not, ohm of what lies beside it: each (size,)."""
    return tuple(
        np.broadcast_to(np.asarray(settings[f"{name}.{what}"], float), (size,))
        for what in ("saturation", "leak", "turned", "beside")
    )


def resistance(name: str, settings: Settings, volt: np.ndarray, ampere: np.ndarray) -> np.ndarray:
    """V/I in ohm of the diode and of what lies beside it, for the voltage across both and the current through both.

    Forward the current counts, backwards the voltage; (P,).
    """
    saturation, leak, turned, beside = _law(name, settings, len(volt))
    sign = np.where(turned > 0, -1.0, 1.0)
    volt, through = sign * volt, sign * (ampere - volt / beside)
    forward = np.maximum(through, _LEAST_A)
    ahead = THERMAL_V * np.log1p(forward / saturation) / forward
    back = np.maximum(-volt, _LEAST_V)
    behind = back / (leak * -np.expm1(-back / THERMAL_V))
    own = np.where(volt >= 0, ahead, behind)
    return own * beside / (own + beside)


def slope_ohm(name: str, settings: Settings, volt: np.ndarray) -> np.ndarray:
    """dV/dI in ohm at a voltage across it, (P,)."""
    saturation, leak, turned, beside = _law(name, settings, len(volt))
    volt = np.where(turned > 0, -volt, volt) / THERMAL_V
    slope = np.where(volt >= 0, saturation, leak) / THERMAL_V * np.exp(np.clip(volt, -40.0, 40.0))
    return 1.0 / (slope + 1.0 / beside)


def guess(name: str, settings: Settings, emf: float | np.ndarray, size: int) -> np.ndarray:
    """A resistance to start from under a battery's voltage, ohm, (size,)."""
    turned = np.broadcast_to(np.asarray(settings[f"{name}.turned"], float), (size,))
    emf = np.broadcast_to(np.asarray(emf, float), (size,))
    ahead = (emf >= 0) != (turned > 0)
    volt = np.where(ahead, np.sign(emf) * 0.15, emf)
    return resistance(name, settings, volt, np.where(ahead, np.sign(emf) * _GUESS_A, 0.0))


def behind_a_meter(name: str, settings: Settings, volt: np.ndarray, ohm: np.ndarray) -> np.ndarray:
    """Resistance in ohm of the diode in series with `ohm` under `volt`, forward for a positive one; (P,)."""
    own = resistance(name, settings, 0.01 * volt, 0.01 * volt / ohm)
    for _ in range(_SCALAR_TURNS):
        ampere = volt / (ohm + own)
        own = np.sqrt(own * resistance(name, settings, ampere * own, ampere))
    return own
