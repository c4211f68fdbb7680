"""What a recorded sweep says in the fault finder's words: low corner, level, distortion."""

from __future__ import annotations

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.faults.network_names import SWEEP
from piezolab.studies.faults.readings import Reading
from piezolab.studies.faults.swept_through import BASS_HZ, MIDDLE_HZ, corner_of_drop
from piezolab.studies.recordings.sweep_against import AGREES, SWAPPED, SetUp, SweepCompared
from piezolab.studies.recordings.swept import SweptTake

ALIKE = 0.1  # part by which the capacitor may differ from the pickup it stands for
_WIDE_DB = 3.0  # half an interval in the bass from which it tells nothing
_LEAST, _MOST = 1e-6, 1.0


def fault_readings(
    take: SweptTake, now: SweepCompared, chain: SignalChain, set_up: SetUp, wanted: bool = False
) -> tuple[Reading, ...]:
    """Readings for `studies.faults`, none where the channels are swapped, the capacitor is not about the chain's
    pickup, noise hides the bass or, unless a sweep is wanted there, the chain explains the response. The level only
    where it counts, distortion only where it stands out of the noise."""
    farad = float(chain.values.pickup_c)
    own = farad if set_up.capacitor is None else set_up.capacitor
    if now.finding == SWAPPED or (now.finding == AGREES and not wanted) or abs(own / farad - 1) > ALIKE:
        return ()
    low, middle = (int(np.argmin(np.abs(np.log(now.hz / hz)))) for hz in (BASS_HZ, MIDDLE_HZ))
    half = float(np.hypot(now.half_db[low], now.half_db[middle]))
    if not half < _WIDE_DB:
        return ()
    drop = now.gain_db[middle] - now.gain_db[low]
    corners = [float(corner_of_drop(np.array(1.0), 10 ** ((drop + off) / 20))) for off in (0.0, -half, half)]
    found = [Reading("corner", SWEEP, corners[0], max((corners[2] - corners[1]) / 2, 1e-6))]
    if now.level_db is not None:
        found.append(Reading("level", SWEEP, float(now.gain_db[middle]), max(float(now.half_db[middle]), 1e-6)))
    at = int(np.argmin(np.abs(np.log(take.order_hz / MIDDLE_HZ))))
    if take.stands_out()[0, at]:
        found.append(Reading("bend", SWEEP, float(np.clip(take.harmonics[0, at], _LEAST, _MOST))))
    return tuple(found)
