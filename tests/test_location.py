from pathlib import Path

import pytest

from piezolab.location import data_dir, notebooks_dir, shipped_dir

TREE = Path(__file__).resolve().parents[1]


def test_source_tree_is_used_as_it_stands() -> None:
    assert data_dir() == TREE / "data"
    assert notebooks_dir() == TREE / "notebooks"


def test_folder_inside_the_package_wins_over_a_stranger_beside_it(tmp_path: Path) -> None:
    """Beside an installed package lie other packages; one of them may be called data."""
    package = tmp_path / "piezolab"
    (package / "data").mkdir(parents=True)
    (tmp_path / "data").mkdir()
    assert shipped_dir("data", package) == package / "data"


def test_incomplete_installation_is_named(tmp_path: Path) -> None:
    package = tmp_path / "piezolab"
    package.mkdir()
    with pytest.raises(FileNotFoundError, match="'data' is missing.*looked for .* and "):
        shipped_dir("data", package)
