"""The files of this repository, as the checks of this folder read them."""

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "piezolab"


def tracked_files(under: str = ".") -> list[Path]:
    """Files under version control and still on disk, as absolute paths; raises CalledProcessError outside git."""
    listing = subprocess.check_output(["git", "ls-files", "-z", "--", under], cwd=ROOT, text=True)
    return sorted(path for name in filter(None, listing.split("\0")) if (path := ROOT / name).is_file())


def relative(path: Path) -> str:
    """The path from the top of the repository, with forward slashes."""
    return path.relative_to(ROOT).as_posix()


def module_name(path: Path) -> str:
    """Dotted name of a Python file of the package."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
