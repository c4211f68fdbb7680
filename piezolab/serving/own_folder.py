"""The server's folder of temporary files: short enough a name for unix sockets, and gone afterwards.

A server that was killed leaves its folder behind; the next one of the same user removes it. Each holds a lock on a file
in its own, which the system lets go however the server ends.
"""

import contextlib
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from .kernels import transport_for
from .start_problems import ServingError

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

_PREFIX, _LOCK = "pz-", "alive"


@contextlib.contextmanager
def own_folder(above: Path | None = None) -> Iterator[Path]:
    """A new folder that only this user can read, in the usual place for such or `above`; removed at the end.

    Raises ServingError where it cannot be made, as on a full disk.
    """
    where = above or _place()
    remove_dead(where)
    try:
        folder = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=where))
        lock = _lock(folder)
    except OSError as problem:
        raise ServingError(f"temporary folder: none can be made in {where}: {problem.strerror}") from None
    try:
        yield folder
    finally:
        if lock is not None:
            os.close(lock)
        shutil.rmtree(folder, ignore_errors=True)


def remove_dead(where: Path) -> int:
    """Remove this user's folders whose server is gone; how many there were."""
    if fcntl is None:
        return 0
    removed = 0
    for folder in where.glob(_PREFIX + "*"):
        try:
            about = folder.lstat()
            if not stat.S_ISDIR(about.st_mode) or about.st_uid != os.getuid():
                continue
            lock = os.open(folder / _LOCK, os.O_RDONLY | os.O_NOFOLLOW)
        except OSError:  # gone meanwhile, or none of ours
            continue
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(folder, ignore_errors=True)
            removed += 1
        except OSError:  # its server runs
            pass
        finally:
            os.close(lock)
    return removed


def _lock(folder: Path) -> int | None:
    """Lock the folder's file as long as this process runs; it has its name only once it is locked."""
    if fcntl is None:
        return None
    new = folder / "new"
    lock = os.open(new, os.O_CREAT | os.O_RDWR, 0o600)
    with contextlib.suppress(OSError):  # a file system without locks: then nobody removes it
        fcntl.flock(lock, fcntl.LOCK_EX)
        new.rename(folder / _LOCK)
    return lock


def _place() -> Path:
    """Where names are short enough for unix sockets, or the usual place."""
    usual = Path(tempfile.gettempdir())
    if transport_for(usual / "pz-12345678") == "ipc" or sys.platform == "win32" or not os.access("/tmp", os.W_OK):
        return usual
    return Path("/tmp")
