"""Rows that share links may name never change."""

import pytest

from tests.catalogue.freeze import current, fingerprint, frozen, raw_tables

NOW = current()


@pytest.mark.parametrize("row", sorted(frozen()))
def test_a_frozen_row_is_unchanged(row: str) -> None:
    now = NOW
    assert row in now, f"{row} is gone: old share links still name it; put it back"
    assert now[row] == frozen()[row], (
        f"{row} has changed: put the old figures back and give the corrected row a new name"
    )


def test_every_row_is_frozen() -> None:
    new = sorted(current().keys() - frozen().keys())
    assert not new, f"new rows {new}: freeze them with python -m tests.catalogue.freeze"


def test_the_fingerprint_sees_figures_and_not_prose() -> None:
    row = raw_tables("batteries")["alkaline-9v"]
    assert fingerprint({**row, "note": "other words"}) == fingerprint(row)
    assert fingerprint({**row, "end_v": 6}) == fingerprint(row)
    assert fingerprint({**row, "end_v": 6.01}) != fingerprint(row)
    assert fingerprint({**row, "capacity": row["capacity"][:-1]}) != fingerprint(row)
    assert fingerprint({**row, "default": False}) != fingerprint(row)
