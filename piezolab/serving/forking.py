"""Kernels forked from the warm process, for jupyter_client; ordinary ones wherever that cannot be done."""

import asyncio
import json
import logging
import os
import select
import signal
import socket
import subprocess
import sys
import time
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

from jupyter_client.connect import KernelConnectionInfo
from jupyter_client.provisioning import KernelProvisionerFactory, LocalProvisioner

from .bounds import bound
from .warm import LENGTH

log = logging.getLogger("piezolab.serving")

#: Name by which a kernel's specification asks for these kernels.
PROVISIONER = "piezolab-warm"
_SECONDS = 10.0
#: Seconds after which a warm process that failed is tried again, and how often.
_AGAIN_S, _TRIES = 20.0, 5
#: What every kernel runs in. One thread for linear algebra: its pool of threads would not survive the fork, and kernels
#: share the processors. Two arenas for memory: each takes address space by the 64 MB. And what a page no longer needs
#: goes back to the system: a seat then holds 1.3 MB less, and moves take as long.
_SURROUNDINGS = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "MALLOC_ARENA_MAX": "2",
    "MALLOC_TRIM_THRESHOLD_": str(2**18),
    "MALLOC_MMAP_THRESHOLD_": str(2**20),
}


def can_fork() -> bool:
    """Whether this system can: Linux, whose pidfds name a process for certain."""
    return sys.platform == "linux" and hasattr(os, "pidfd_open") and hasattr(socket, "send_fds")


class ForkedProcess:
    """A kernel that is no child of the server; what jupyter_client asks of a `subprocess.Popen`."""

    stdin = stdout = stderr = None

    def __init__(self, pid: int, pidfd: int) -> None:
        self.pid = pid
        self._pidfd = pidfd
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """None while it runs, then 1: its status is the warm process's to know."""
        if self.returncode is None:
            waiting = select.poll()
            waiting.register(self._pidfd, select.POLLIN)
            if waiting.poll(0):
                self.returncode = 1
                os.close(self._pidfd)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Wait for its end. Raises subprocess.TimeoutExpired."""
        end = None if timeout is None else time.monotonic() + timeout
        while self.poll() is None:
            if end is not None and time.monotonic() > end:
                raise subprocess.TimeoutExpired("kernel", timeout or 0)
            time.sleep(0.01)
        return self.returncode or 0

    def send_signal(self, signum: int) -> None:
        """Signal it, if it still runs."""
        if self.poll() is None:
            signal.pidfd_send_signal(self._pidfd, signum)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)


class WarmProcess:
    """The server's end of the warm process: starts it, asks it for kernels, and does without when it fails.

    Parameters
    ----------
    environment : dict, optional
        What it runs in; the server's own by default.
    """

    def __init__(self, environment: dict[str, str] | None = None) -> None:
        self._environment = {**(os.environ if environment is None else environment), **_SURROUNDINGS}
        self._process: subprocess.Popen | None = None
        self._line: socket.socket | None = None
        self._lives: list[int] = []
        self._turn = asyncio.Lock()
        self._tries = 0
        self._failed_at = 0.0
        #: Set once kernels can be forked.
        self.ready = asyncio.Event()

    @property
    def pid(self) -> int | None:
        """Its process number while it runs."""
        return self._process.pid if self._process else None

    async def start(self) -> None:
        """Start it and wait until it is warm; says so in the log if it fails."""
        ours, theirs = socket.socketpair()
        # The pipe's writing end stays here and closes with the server, whatever ends it.
        life, held = os.pipe()
        self._lives.append(held)
        self._tries += 1
        self._line = ours
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "piezolab.serving.warm", str(theirs.fileno()), str(life)],
                pass_fds=(theirs.fileno(), life),
                stdin=subprocess.DEVNULL,
                env=self._environment,
                start_new_session=True,
            )
            theirs.close()
            os.close(life)
            ours.settimeout(120)
            if await asyncio.get_running_loop().run_in_executor(None, ours.recv, 1) != b"r":
                raise ConnectionError("it ended while it was being warmed")
        except (OSError, ValueError) as problem:
            self._give_up(problem)
            return
        ours.settimeout(_SECONDS)
        self.ready.set()

    def _give_up(self, problem: Exception) -> None:
        if self._line is None:
            return  # stopped meanwhile
        log.error("no kernels can be forked just now, so pages start more slowly: %s", problem)
        # Kernels that it forked go on: they end with the server, not with it.
        self._let_go()
        self._failed_at = time.monotonic()

    def _let_go(self) -> None:
        self.ready.clear()
        if self._process:
            self._process.kill()
            self._process.wait()
        if self._line:
            self._line.close()
        self._process = self._line = None

    async def fork(self, argv: list[str], env: dict[str, str], cwd: str) -> ForkedProcess | None:
        """A new kernel, or None where there is no warm process to fork."""
        if not self.ready.is_set():
            return None
        request = json.dumps({"argv": argv, "env": env, "cwd": cwd}).encode()
        async with self._turn:
            if self._line is None:
                return None
            try:
                return await asyncio.get_running_loop().run_in_executor(None, self._ask, self._line, request)
            except (OSError, ValueError, EOFError) as problem:
                self._give_up(problem)
                return None

    @staticmethod
    def _ask(line: socket.socket, request: bytes) -> ForkedProcess:
        line.sendall(LENGTH.pack(len(request)) + request)
        answer, handles, _, _ = socket.recv_fds(line, 32, 1)
        if not answer or not handles:
            raise EOFError("the warm process has ended")
        return ForkedProcess(int(answer), handles[0])

    async def look_after(self) -> None:
        """Notice that it has ended, and start another one after a while."""
        if self.ready.is_set() and self._process and self._process.poll() is not None:
            self._give_up(EOFError("the warm process has ended"))
        due = not self._line and self._tries < _TRIES and time.monotonic() - self._failed_at > _AGAIN_S
        if due and self._tries:
            await self.start()

    def stop(self) -> None:
        """End it, and with it every kernel that it has forked."""
        self._tries = _TRIES
        self._let_go()
        while self._lives:
            os.close(self._lives.pop())


class WarmProvisioner(LocalProvisioner):
    """Forks a kernel from the warm process; without one, starts it the ordinary way."""

    #: The server's, if it has one.
    warm: WarmProcess | None = None

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> KernelConnectionInfo:
        """Launch the kernel and return how to connect to it."""
        forked = None
        if self.warm is not None:
            # cmd is: the Python, -m, ipykernel_launcher, options
            cwd = str(kwargs.get("cwd") or Path.cwd())
            forked = await self.warm.fork(cmd[2:], dict(kwargs.get("env") or os.environ), cwd)
        if forked is None:
            kwargs["env"] = {**(kwargs.get("env") or os.environ), **_SURROUNDINGS}
            connection = await super().launch_kernel(cmd, **kwargs)
            bound(self.process.pid)
            return connection
        self.process = forked
        # No process group: signals then go through the pidfd, which cannot meet another process of the same number.
        self.pid, self.pgid = forked.pid, None
        self.cwd = kwargs.get("cwd", Path.cwd())
        return self.connection_info


# By hand, not by an installed entry point: a source tree works at once, and nobody else can ask for it.
KernelProvisionerFactory.provisioners[PROVISIONER] = EntryPoint(
    PROVISIONER, f"{__name__}:{WarmProvisioner.__name__}", KernelProvisionerFactory.GROUP_NAME
)
