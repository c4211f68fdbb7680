"""What a room keeps on the disk over a restart: the secret that signs its cookies, its line, and what was solved.

One file for each address that a room listens on, which only this user can read, in a folder of the same kind. The
secret holds for the room's day; line and counts are those of a run that ended a moment ago, however it ended.
"""

import contextlib
import hashlib
import json
import os
import secrets
import stat
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from jupyter_core.paths import jupyter_runtime_dir

#: Seconds that a secret is used for, and that a line and its counts outlive their server.
DAY_S, MOMENT_S = 16 * 3600.0, 900.0
#: A file is written anew after so many seconds though nothing has changed: its age tells when the server ended.
_FRESH_S = 60.0
_PREFIX, _LONGEST = "room-", 8 * 2**20


class NotKept(OSError):
    """What is there is not safe to use, or cannot be written; the message says what in one sentence."""


def usual_folder() -> Path:
    """Where this user's running servers keep theirs."""
    return Path(jupyter_runtime_dir()) / "piezolab"


class KeptRoom:
    """The file of one room.

    Parameters
    ----------
    folder : path
        Made if need be.
    address : str
        Host, port and base of the room: nobody else can listen there meanwhile.
    clock : callable
        Seconds since the epoch, as they outlive a process.

    Raises NotKept where the folder or a file there is somebody else's, a link, or readable by others.
    """

    def __init__(self, folder: Path, address: str, clock: Callable[[], float] = time.time) -> None:
        self._clock = clock
        name = hashlib.blake2b(address.encode(), digest_size=8).hexdigest()
        self._path = folder / f"{_PREFIX}{name}.json"
        self._written, self._at = "", 0.0
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _check(folder, folder.lstat(), stat.S_ISDIR)
            self._forget_old(folder)
            found = self._read()
            self.secret = bytes.fromhex(found["secret"]) if found else secrets.token_bytes(32)
            self._begun = found["begun"] if found else clock()
            #: What the last run has left; {} where there was none, or long ago.
            self.left: dict[str, Any] = found["left"] if found and clock() - found["saved"] <= MOMENT_S else {}
            self.write(self.left)
        except NotKept:
            raise
        except OSError as problem:
            raise NotKept(f"{folder} cannot be used: {problem.strerror}") from None

    def _read(self) -> dict[str, Any] | None:
        try:
            handle = os.open(self._path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
        except FileNotFoundError:
            return None
        except OSError:
            raise NotKept(f"{self._path} is no file of this user's own") from None
        with open(handle, "rb") as file:
            _check(self._path, os.fstat(handle), stat.S_ISREG)
            text = file.read(_LONGEST)
        try:
            found = json.loads(text)
            begun, saved = float(found["begun"]), float(found["saved"])
            good = len(bytes.fromhex(found["secret"])) == 32 and isinstance(found["left"], dict)
        except (ValueError, TypeError, KeyError, RecursionError):
            return None  # half a file, or another version's
        return found if good and begun <= saved and 0 <= self._clock() - begun < DAY_S else None

    def _forget_old(self, folder: Path) -> None:
        for path in folder.glob(f"{_PREFIX}*"):
            with contextlib.suppress(OSError):
                if path.lstat().st_mtime < self._clock() - DAY_S:
                    path.unlink()

    def write(self, left: dict[str, Any]) -> None:
        """Keep this, if it is not what is kept already. Raises OSError, as on a full disk."""
        text, now = json.dumps(left), self._clock()
        if text == self._written and now - self._at < _FRESH_S:
            return
        about = {"secret": self.secret.hex(), "begun": self._begun, "saved": now}
        new = self._path.with_suffix(".new")
        new.unlink(missing_ok=True)
        flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_NOFOLLOW", 0)
        with open(os.open(new, flags, 0o600), "w", encoding="utf-8") as file:
            file.write(f'{json.dumps(about)[:-1]}, "left": {text}}}')
        os.replace(new, self._path)
        self._written, self._at = text, now


def _check(path: Path, about: os.stat_result, kind: Callable[[int], bool]) -> None:
    """Raises NotKept unless it is what it should be, and this user's alone. (Windows guards a user's own folders.)"""
    if not kind(about.st_mode):
        raise NotKept(f"{path} is not what it should be: a link, or something else")
    if hasattr(os, "getuid") and (about.st_uid != os.getuid() or about.st_mode & 0o077):
        raise NotKept(f"{path} is another user's, or others may read it")
