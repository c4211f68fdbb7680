"""Where the catalogue's TOML files live, with the catalogue's own error when they are missing."""

from __future__ import annotations

from pathlib import Path

from piezolab.catalogue.schema import CatalogueError
from piezolab.location import shipped_dir


def data_dir() -> Path:
    """Return the folder with the catalogue's TOML files: ``piezolab/data`` in a wheel, ``data`` in a
    checkout.

    Raises:
        CatalogueError: neither folder exists; the sentence names both.
    """
    try:
        return shipped_dir("data")
    except FileNotFoundError as error:
        raise CatalogueError(str(error)) from error
