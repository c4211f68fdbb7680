"""The catalogue's own word when its files are missing."""

import pytest

from piezolab.catalogue import CatalogueError, data_dir
from piezolab.catalogue import data_folder as location


def test_the_files_are_there() -> None:
    assert (data_dir() / "transistors.toml").is_file()


def test_a_missing_folder_is_the_catalogues_error(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> None:
        raise FileNotFoundError(f"the folder {name!r} is missing")

    monkeypatch.setattr(location, "shipped_dir", missing)
    with pytest.raises(CatalogueError, match="the folder 'data' is missing"):
        data_dir()
