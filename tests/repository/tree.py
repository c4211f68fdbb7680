"""The files of this repository, as the checks of this folder read them."""

import subprocess
from fnmatch import fnmatch
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "piezolab"


def tracked_files(under: str = ".") -> list[Path]:
    """Files that belong to the repository and are on disk, as absolute paths; an unpacked archive has no git to ask."""
    if (ROOT / ".git").exists():
        listing = subprocess.check_output(["git", "ls-files", "-z", "--", under], cwd=ROOT, text=True)
        paths = [ROOT / name for name in filter(None, listing.split("\0"))]
    else:
        ignored = [line.rstrip("/") for line in (ROOT / ".gitignore").read_text("utf-8").splitlines()]
        paths = [
            path
            for path in (ROOT / under).rglob("*")
            if not any(fnmatch(part, rule) for part in path.relative_to(ROOT).parts for rule in ignored)
        ]
    return sorted(path for path in paths if path.is_file())


def relative(path: Path) -> str:
    """The path from the top of the repository, with forward slashes."""
    return path.relative_to(ROOT).as_posix()


def module_name(path: Path) -> str:
    """Dotted name of a Python file of the package."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
