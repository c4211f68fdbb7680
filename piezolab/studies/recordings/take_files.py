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
from piezolab.studies.recordings.take_figures import take_figures


def compare_files(
    chain: SignalChain, bare: Sequence[str | Path], staged: Sequence[str | Path]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The figures of `take_figures`; or {} and a sentence for each problem."""
    problems = [] if chain.topology.powered else ["stage: the chain has none; takes with and without one are compared."]
    for files, word in ((bare, "--bare"), (staged, "--stage")):
        if not 1 <= len(files) <= MOST_TAKES:
            problems.append(f"{word}: {len(files)} recordings; 1 to {MOST_TAKES} are allowed.")
    if problems:
        return {}, tuple(problems)
    takes: list[StudiedTake] = []
    for path, kind in [*((path, False) for path in bare), *((path, True) for path in staged)]:
        try:
            take = _read(Path(path), kind)
            check_new(take, tuple(takes))
            takes.append(take)
        except AudioError as error:
            problems.append(str(error))
    if problems:
        return {}, tuple(problems)
    try:
        return take_figures(takes, compared(takes, shared_notes(tuple(takes)), chain), chain), ()
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
