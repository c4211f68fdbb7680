"""Which way up a chain's output is, and what that does beside a second pickup."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz


@dataclass(frozen=True)
class SecondPickup:
    """This chain and a second pickup that feels the same and is heard the right way up, set equally loud.

    frequency: the lowest string and 1 kHz, Hz; together_db: both against one of them alone, dB, 20 lg|1 + H/|H||, 6 at
    most; swapped_db: the same with the two wires of one pickup swapped, 20 lg|1 - H/|H||; -inf where they cancel; nan
    where this chain gives nothing. All of shape (2,).
    """

    inverts: bool
    frequency: np.ndarray
    together_db: np.ndarray
    swapped_db: np.ndarray


def second_pickup(chain: SignalChain) -> SecondPickup:
    """See `SecondPickup`; the second pickup's own phase is taken as 0."""
    frequency = np.array([low_note_hz(chain), 1000.0])
    gain = LinearChain.of(chain.values).gain(frequency)
    with np.errstate(divide="ignore", invalid="ignore"):
        turned = gain / np.abs(gain)
        both, swapped = (20 * np.log10(np.abs(1 + sign * turned)) for sign in (1, -1))
    return SecondPickup(chain.topology.inverts, frequency, both, swapped)
