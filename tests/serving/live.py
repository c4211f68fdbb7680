"""A real server in a process of its own, for tests."""

import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psutil

_START = """
import functools, json, sys
from piezolab.serving import channels, serve
options, patience = json.loads(sys.argv[1])
channels.PING_MS, channels.PONG_MS = patience.pop("pings_ms", (channels.PING_MS, channels.PONG_MS))
from piezolab.serving import full_disk, seats, start
full_disk.NEEDED = patience.pop("needed_bytes", full_disk.NEEDED)
start._BODY_S = patience.pop("body_s", start._BODY_S)
if told := patience.pop("memory_file", None):
    from pathlib import Path
    from piezolab.serving import machine
    machine.memories = lambda: [(int(Path(told).read_text()), 100)]
start.Seats = functools.partial(seats.Seats, **patience)
start._SWEEP_MS = 300
serve(**options)
"""


#: Where servers keep what outlives them, away from this user's own.
_RUNTIME = tempfile.TemporaryDirectory(prefix="piezolab-tests-")


class LiveServer:
    """Starts on a free port and stops when told to.

    Parameters
    ----------
    notebooks : path or None
        Folder to serve; None serves the shipped chapters.
    patience : dict
        Seconds until a kernel is freed, as `piezolab.serving.seats.Seats` takes them; `body_s` until a slow body is
        given up, `pings_ms` between pings and until the answer is missed, `needed_bytes` of the disk for a page,
        `memory_file` that says how many hundredths of the memory are in use.
    options : dict
        Anything else that `piezolab.serving.serve` takes.
    """

    def __init__(
        self, notebooks: Path | None = None, patience: dict[str, Any] | None = None, **options: Any
    ):
        # A warm process costs seconds of work for each server: the tests that are about it say so.
        options = {"port": 0, "warm": False, **options}
        if notebooks is not None:
            options["notebooks"] = str(notebooks)
        self.process = subprocess.Popen(
            [sys.executable, "-c", _START, json.dumps([options, patience or {}])],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "JUPYTER_RUNTIME_DIR": _RUNTIME.name},
        )
        self.lines: list[str] = []
        self._said = threading.Condition()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        #: Address of the start page, with a slash at its end.
        self.url = self.wait_for(r"piezolab is ready: (\S+)", 90)[1]

    def _listen(self) -> None:
        for line in self.process.stdout:
            with self._said:
                self.lines.append(line.rstrip("\n"))
                self._said.notify_all()
        with self._said:
            self._said.notify_all()

    @property
    def output(self) -> str:
        """All it has printed so far."""
        return "\n".join(self.lines)

    def wait_for(self, pattern: str, seconds: float) -> re.Match[str]:
        """The first match in what the server prints. Raises TimeoutError."""
        end = time.monotonic() + seconds
        with self._said:
            while True:
                match = re.search(pattern, self.output)
                if match:
                    return match
                left = end - time.monotonic()
                if left <= 0 or self.process.poll() is not None:
                    raise TimeoutError(f"no {pattern!r} in what the server said:\n{self.output}")
                self._said.wait(min(left, 0.2))

    def kernels(self) -> list[psutil.Process]:
        """The kernel processes that run now."""
        try:
            children = psutil.Process(self.process.pid).children(recursive=True)
        except psutil.NoSuchProcess:
            return []
        return [child for child in children if _is_kernel(child)]

    def warm(self) -> psutil.Process | None:
        """The process that kernels are forked from."""
        children = psutil.Process(self.process.pid).children()
        return next((child for child in children if _is_warm(child)), None)

    @property
    def connections(self) -> Path:
        """Folder of the kernels' connection files; there must be a kernel."""
        return Path(self.kernels()[0].environ()["IPYTHONDIR"]).parent

    def kernels_become(self, count: int, seconds: float) -> bool:
        """Whether the number of kernels becomes ``count`` within that time."""
        return comes_true(lambda: len(self.kernels()) == count, seconds)

    def stop(self, how: int = signal.SIGTERM) -> int:
        """Stop it and return its exit status."""
        if self.process.poll() is None:
            self.process.send_signal(how)
        try:
            return self.process.wait(60)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise
        finally:
            self._listener.join(5)


def comes_true(condition: Callable[[], bool], seconds: float = 60) -> bool:
    """Whether a condition comes true within that time; a busy computer may take long over what is soon done."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.05)
    return condition()


def _is_warm(process: psutil.Process | None) -> bool:
    """Whether it is the warm process, or one forked from it."""
    return process is not None and "piezolab.serving.warm" in process.cmdline()


def _is_kernel(process: psutil.Process) -> bool:
    try:
        if process.status() == psutil.STATUS_ZOMBIE:
            return False
        return "ipykernel_launcher" in process.cmdline() or (_is_warm(process) and _is_warm(process.parent()))
    except psutil.Error:
        return False
