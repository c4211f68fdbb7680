"""The fingerprint of every catalogue row, and a way to add those of new rows.

``python -m tests.catalogue.freeze`` adds rows that have none yet. It never changes one: within a link format
a row keeps its numbers, and a corrected row gets a new name.
"""

import hashlib
import json
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from piezolab.catalogue import data_dir, spelled_out

FILES = ("transistors", "inputs", "cables", "batteries", "pickups", "clamps")
FROZEN = Path(__file__).with_name("frozen_rows.json")

#: Words that change no figure and may be mended; which row stands for which; and the sizes of a battery, and what
#: an input feeds microphones with, on which no figure of a chain depends.
PROSE = {
    "label",
    "note",
    "source",
    "caution",
    "tags",
    "screen",
    "availability",
    "pins_seen",
    "from_memory",
    "recalled",
    "estimates",
    "corrects",
    "length",
    "width",
    "depth",
    "feed_v",
    "feed_ohm",
}


@cache
def raw_tables(file: str) -> dict[str, dict[str, Any]]:
    """The rows of one file with all their fields, to be looked at and not changed."""
    return spelled_out(file, tomllib.loads((data_dir() / f"{file}.toml").read_text(encoding="utf-8")))


def fingerprint(row: dict[str, Any]) -> str:
    """SHA-256 of the row's figures; 5, 5.0 and 5e0 are the same figure."""

    def plain(value: Any) -> Any:
        if isinstance(value, list):
            return [plain(item) for item in value]
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value

    figures = {key: plain(value) for key, value in row.items() if key not in PROSE}
    return hashlib.sha256(json.dumps(figures, sort_keys=True).encode()).hexdigest()


def current() -> dict[str, str]:
    """Fingerprint of every row, by file/row."""
    return {f"{file}/{name}": fingerprint(row) for file in FILES for name, row in raw_tables(file).items()}


def frozen() -> dict[str, str]:
    """The checked-in fingerprints."""
    return json.loads(FROZEN.read_text(encoding="utf-8")) if FROZEN.exists() else {}


def main() -> None:
    """Add the fingerprints of new rows."""
    FROZEN.write_text(json.dumps({**current(), **frozen()}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
