"""How kernels are started: always this Python, quietly, and over unix sockets where the system has them."""

import logging
import math
import os
import re
import socket
import sys
import time
from pathlib import Path
from queue import Empty
from typing import Any

from ipykernel.kernelspec import RESOURCES
from jupyter_client.asynchronous import AsyncKernelClient
from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
from jupyter_server.auth.identity import IdentityProvider, User
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager

from .bounds import BACK
from .forking import PROVISIONER
from .full_disk import Space, disk_is_full
from .machine import QueueSteps
from .seats import ENDED, Seats, current_visit

log = logging.getLogger("piezolab.serving")

# The shortest limit on the path of a unix socket among common systems, less one for the closing zero.
_SOCKET_PATH_LIMIT = 103
# What jupyter_client adds to the folder: kernel-<uuid>-ipc-<number>.
_SOCKET_NAME_LENGTH = len("/kernel-") + 36 + len("-ipc-99999")


def transport_for(folder: Path) -> str:
    """``ipc`` where kernels can listen on unix sockets in ``folder``, else ``tcp``.

    Unix sockets keep the traffic, which is not encrypted, away from other users of the computer.
    """
    if not hasattr(socket, "AF_UNIX") or sys.platform == "win32":
        return "tcp"
    return "ipc" if len(str(folder)) + _SOCKET_NAME_LENGTH <= _SOCKET_PATH_LIMIT else "tcp"


class OwnKernelSpecs(KernelSpecManager):
    """Every notebook runs on the Python that runs the server, whatever kernels this user has registered."""

    def find_kernel_specs(self) -> dict[str, str]:
        return {"python3": RESOURCES}

    def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
        command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
        # No history file: thirty kernels would queue for one database on the disk. And nothing is printed at the start:
        # a terminal or file that takes no more would end the kernel.
        options = ["--HistoryManager.enabled=False", "--IPKernelApp.log_level=CRITICAL"]
        return KernelSpec(
            argv=command + options,
            display_name="Python 3",
            language="python",
            name="python3",
            resource_dir=RESOURCES,
            metadata={"debugger": False, "kernel_provisioner": {"provisioner_name": PROVISIONER}},
        )


class Anyone(IdentityProvider):
    """Nobody signs in: who owns what is known by the seat's cookie, and no other cookie is set."""

    @property
    def auth_enabled(self) -> bool:
        return False

    def get_user(self, handler: Any) -> User:
        return User("visitor")


class KernelGone(RuntimeError):
    """A kernel has ended before its page was made; the log has said so."""


class PromptClient(AsyncKernelClient):
    """Knows that a new kernel is ready when it has answered and is idle.

    The stock client waits for a fifth of a second of silence on top, each time a page is opened.
    """

    async def wait_for_ready(self, timeout: float | None = None) -> None:
        """Wait for the kernel. Raises KernelGone if it dies, RuntimeError after so many seconds."""
        end = time.monotonic() + (math.inf if timeout is None else timeout)
        while not await self._has_answered(self.kernel_info()):
            if not await self.is_alive():
                raise KernelGone("the kernel died before it was ready")
            if time.monotonic() > end:
                raise RuntimeError("the kernel was not ready in time")

    async def _has_answered(self, asked: str) -> bool:
        try:
            while (await self.get_shell_msg(timeout=1))["parent_header"].get("msg_id") != asked:
                pass
            # Its state comes only once this client is known on that channel; if it does not come, ask again.
            while True:
                said = await self.get_iopub_msg(timeout=0.2)
                if said["parent_header"].get("msg_id") == asked and said["content"].get("execution_state") == "idle":
                    return True
        except Empty:
            return False


#: Names of environment variables that may hold a secret of the server or of this user: no business of a page.
_SECRET = re.compile(r"TOKEN|SECRET|PASSW|CREDENTIAL|API_?KEY|PRIVATE|ACCESS_KEY|^JUPYTERHUB_|^SSH_", re.IGNORECASE)


def without_secrets(environment: dict[str, str]) -> dict[str, str]:
    """The environment without what looks like a secret."""
    return {name: text for name, text in environment.items() if not _SECRET.search(name)}


class SeatedKernelManager(AsyncMappingKernelManager):
    """Gives each kernel to the visitor whose page starts it."""

    seats: Seats
    #: How kernels are put further back, where the system can take that back.
    steps: QueueSteps | None = None
    _space = Space()

    async def start_kernel(self, **kwargs: Any) -> str:
        """Start a kernel for the visit that asks for one. Raises NoSpace where the disk is full."""
        kwargs["env"] = without_secrets(kwargs.get("env") or dict(os.environ))
        self._space.need(self.connection_dir)
        try:
            kernel_id = await super().start_kernel(**kwargs)
        except OSError as problem:
            if not disk_is_full(problem):
                raise
            raise self._space.missing(self.connection_dir) from None
        self.seats.started(current_visit.get(), kernel_id)
        if self.steps is not None and len(self.seats) > 1 and (pid := self.pids().get(kernel_id)):
            # Sliders of pages that are open go before pages that are made; the watch puts it up again.
            self.steps.put(pid, BACK)
        return kernel_id

    def pids(self) -> dict[str, int]:
        """The process of each kernel that has one by now."""
        found = {kernel_id: getattr(manager.provisioner, "pid", None) for kernel_id, manager in self._kernels.items()}
        return {kernel_id: pid for kernel_id, pid in found.items() if pid}

    async def process_alive(self, kernel_id: str) -> bool:
        """Whether the kernel's process still runs."""
        manager = self._kernels.get(kernel_id)
        return manager is not None and await manager.is_alive()

    async def free(self, kernel_id: str, why: int = ENDED) -> None:
        """End the kernel at once and close what its page still holds open, with the code that says why."""
        seat = self.seats.remove(kernel_id)
        for channel in list(seat.sockets if seat else ()):
            channel.close(why, "this kernel has ended")
        if kernel_id in self:
            await self.shutdown_kernel(kernel_id, now=True)
        # A channel that closed while the kernel was being shut down has begun to keep messages for a return
        # that cannot come: its four sockets would stay open for ever.
        for stream in self._kernel_buffers.pop(kernel_id, {}).get("channels", {}).values():
            if not stream.closed():
                stream.close()
