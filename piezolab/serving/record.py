"""What the server writes down: one short line a record, nothing of a visitor's whole, and a file that stays small."""

import logging
import logging.handlers
import re
import traceback
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from .limits import Allowances
from .start_problems import ServingError

_log = logging.getLogger("piezolab.serving")

#: Characters of the longest record, and of the longest piece of a visitor's text in one.
LONGEST, SHOWN = 300, 80
#: Bytes after which a log file is put aside and a new one begun, and how many that were put aside are kept.
FILE_BYTES, FILES_KEPT = 1_000_000, 2
_QUERY = re.compile(r"\?[^\s'\"]+")
_COLOUR = re.compile(r"\x1b\[[\d;]*m")
_PLACE = re.compile(r"File \S+:\d+|Cell In\[\d+\], line \d+")


def plain(text: str, most: int = LONGEST) -> str:
    """Text on one line that no terminal obeys: what cannot be printed is escaped, what is too long is cut."""
    shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text[: most + 1])
    return shown if len(shown) <= most else shown[: most - 1] + "…"


class Line(logging.Formatter):
    """A record as one line of at most `LONGEST` characters, with an exception's last place instead of its traceback."""

    def format(self, record: logging.LogRecord) -> str:
        stamp = f"{self.formatTime(record)} {record.levelname} "
        problem = record.exc_info[1] if record.exc_info else None
        ending = "" if problem is None else ": " + plain(_what_happened(problem), LONGEST // 2)
        # Libraries name the whole request; its query is a visitor's chain.
        said = _QUERY.sub("?…", record.getMessage()[: 20 * LONGEST])
        return stamp + plain(said, LONGEST - len(stamp) - len(ending)) + ending


def _what_happened(problem: BaseException) -> str:
    frames = traceback.extract_tb(problem.__traceback__)
    place = f" ({Path(frames[-1].filename).name}:{frames[-1].lineno})" if frames else ""
    return plain(f"{type(problem).__name__}: {problem}", SHOWN) + place


#: What libraries say, at length and more than once, of a kernel that has ended. That it has is said by `seats`; and
#: where somebody has dropped a page half made it was ended on purpose.
_OF_ENDED = (
    "Kernel died while waiting for",
    "Error occurred while starting new kernel client for kernel",
    "Got events for closed stream",
)


def is_news(record: logging.LogRecord) -> bool:
    """Whether a record says what no other says better."""
    ended = record.exc_info and type(record.exc_info[1]).__name__ == "DeadKernelError"
    return not ended and not str(record.msg).startswith(_OF_ENDED)


class KernelErrors:
    """Writes down what goes wrong in the pages' kernels, once a minute for each of them: a slider can fail sixty times
    a second."""

    def __init__(self, log: logging.Logger, allowances: Allowances | None = None) -> None:
        self._log = log
        self._left = allowances or Allowances(1, 1 / 60)

    def note(self, kernel_id: str, content: Mapping[str, Any]) -> None:
        """Write down an error as the kernel's message tells it."""
        if self._left.take(kernel_id):
            places = _PLACE.findall(_COLOUR.sub("", "\n".join(map(str, content.get("traceback") or ()))))
            said = plain(f"{content.get('ename')}: {content.get('evalue')}", SHOWN)
            self._log.error("a page's kernel raised an error: %s (%s)", said, places[-1] if places else "place unknown")


def write_to(path: Path | str | None) -> None:
    """Let every logger write such lines: to a file that is begun anew in time, or where errors go.

    Raises ServingError where the file cannot be written.
    """
    if path is None:
        handler: logging.Handler = logging.StreamHandler()
    else:
        try:
            handler = logging.handlers.RotatingFileHandler(
                path, maxBytes=FILE_BYTES, backupCount=FILES_KEPT, encoding="utf-8", errors="backslashreplace"
            )
        except OSError as problem:
            raise ServingError(f"log: {str(path)!r} cannot be written: {problem.strerror}") from None
    handler.setFormatter(Line())
    handler.addFilter(is_news)
    root = logging.getLogger()
    if path is not None or not root.handlers:
        root.addHandler(handler)
    # A record that cannot be written (a full disk) is lost; telling of it at length would be no help.
    logging.raiseExceptions = False


def say(text: str) -> None:
    """Print for whoever started the server; a full disk or a narrow terminal stops nothing."""
    try:
        print(text, flush=True)
    except (OSError, ValueError):
        _log.warning("something could not be printed")
