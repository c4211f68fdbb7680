"""A full disk: what it looks like, and who is told."""

import contextlib
import errno
import shutil
from collections.abc import Callable
from pathlib import Path

from .error_pages import NoSpace
from .record import say

#: Bytes that a new kernel needs for its files, with room to spare: it must not find the disk full halfway.
NEEDED = 2 * 2**20


def disk_is_full(problem: OSError) -> bool:
    """Whether that is what the system says: no space, or this user's share of it used up."""
    return problem.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


class Space:
    """The room on a disk: without it a page is refused with a sentence, and whoever runs the server reads one line.

    tell: prints that line, once until a page could be made again.
    """

    def __init__(self, tell: Callable[[str], None] = say) -> None:
        self._tell, self._told = tell, False

    def need(self, folder: Path | str) -> None:
        """Raises NoSpace where the disk has no room for another kernel's files."""
        with contextlib.suppress(OSError):  # what cannot be asked is tried
            if shutil.disk_usage(folder).free < NEEDED:
                raise self.missing(folder)
        self._told = False

    def missing(self, folder: Path | str) -> NoSpace:
        """The error to raise, after telling of it."""
        if not self._told:
            self._told = True
            self._tell(f"The disk with {folder} is full: no page can be opened until it has space. Open ones go on.")
        return NoSpace()
