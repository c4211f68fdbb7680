"""Recordings on disk against a chain's prediction."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from piezolab.audio import AudioError
from piezolab.audio.slices import Slices
from piezolab.audio.sound_file import check_size, read_recording
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.studies.recordings.against_prediction import MOST_TAKES, compared
from piezolab.studies.recordings.shared_notes import shared_notes
from piezolab.studies.recordings.studied_take import StudiedTake, check_new, studied
from piezolab.studies.recordings.sweep_against import SetUp
from piezolab.studies.recordings.sweep_figures import sweep_file
from piezolab.studies.recordings.take_figures import take_figures


def compare_files(
    chain: SignalChain, bare: Sequence[str | Path], staged: Sequence[str | Path], sweep: str | Path | None = None
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The figures of `take_figures`, or where there is a recorded sweep, through a capacitor as large as the chain's
    pickup, those of `sweep_figures`; or {} and a sentence for each problem."""
    if sweep is not None:
        takes = len(bare) + len(staged)
        beside = f"--sweep: {takes} takes beside it; they are compared by themselves."
        return ({}, (beside,)) if takes else sweep_file(chain, sweep, SetUp(float(chain.values.pickup_c)))
    problems = [] if chain.topology.powered else ["stage: the chain has none; takes with and without one are compared."]
    for files, word in ((bare, "--bare"), (staged, "--stage")):
        if not 1 <= len(files) <= MOST_TAKES:
            problems.append(f"{word}: {len(files)} recordings; 1 to {MOST_TAKES} are allowed.")
    if problems:
        return {}, tuple(problems)
    found: list[StudiedTake] = []
    for path, kind in [*((path, False) for path in bare), *((path, True) for path in staged)]:
        try:
            take = _read(Path(path), kind)
            check_new(take, tuple(found))
            found.append(take)
        except AudioError as error:
            problems.append(str(error))
    if problems:
        return {}, tuple(problems)
    try:
        return take_figures(found, compared(found, shared_notes(tuple(found)), chain), chain), ()
    except AudioError as error:
        return {}, (str(error),)
    except CircuitError as error:
        return {}, (f"chain: it could not be worked out: {error}",)


def _read(path: Path, staged: bool) -> StudiedTake:
    try:
        check_size(path.stat().st_size, path.name)
        return studied(read_recording(Slices(path.read_bytes()), path.name), staged)
    except OSError as error:
        raise AudioError(f"{path.name}: it cannot be read ({error.strerror}).") from error
