"""Where the folders that travel with the package are: beside it in the source tree, later inside it."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def shipped_dir(name: str, package: Path = _PACKAGE) -> Path:
    """Folder ``data`` or ``notebooks``, wherever this copy of the package keeps it.

    Raises FileNotFoundError, naming both places, when neither has it: the installation is incomplete.
    """
    candidates = (package / name, package.parent / name)
    for candidate in candidates:
        if candidate.is_dir():
            return candidate
    looked = " and ".join(str(candidate) for candidate in candidates)
    raise FileNotFoundError(f"the folder {name!r} is missing from this installation; looked for {looked}")


def data_dir() -> Path:
    """Folder of the catalogue's TOML files. Raises FileNotFoundError when the installation is incomplete."""
    return shipped_dir("data")


def notebooks_dir() -> Path:
    """Folder of the chapters' notebooks. Raises FileNotFoundError when the installation is incomplete."""
    return shipped_dir("notebooks")
