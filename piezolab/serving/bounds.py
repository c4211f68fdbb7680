"""What one kernel may take of the machine: so much memory for its data, and the processor after the server."""

import contextlib
import os

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]

#: Bytes of data (heap, arrays, stacks) that a kernel may have. A limit on its whole address space would be no measure:
#: most of that is libraries, which all kernels share. A page at rest has some 210 MB.
DATA_BYTES = 512 * 2**20
#: How far kernels stand back behind the server, in steps of the system's `nice`: its pings and its other pages' answers
#: go first. One step is enough; five made pages a tenth slower to come up where browser and server share a computer.
BELOW = 1
#: And one that runs without a break, or is still making its page while others are open.
BACK = 10


def bound(pid: int = 0) -> None:
    """Set both for a process, by default this one, where the system can. What it starts inherits them."""
    if resource is not None and hasattr(resource, "prlimit"):  # Linux
        with contextlib.suppress(OSError, ValueError):
            now = [most for most in resource.prlimit(pid, resource.RLIMIT_DATA) if most != resource.RLIM_INFINITY]
            most = min(DATA_BYTES, *now) if now else DATA_BYTES
            resource.prlimit(pid, resource.RLIMIT_DATA, (most, most))
    if hasattr(os, "setpriority"):
        with contextlib.suppress(OSError):
            own = os.getpriority(os.PRIO_PROCESS, pid)
            os.setpriority(os.PRIO_PROCESS, pid, min(own + BELOW, 19))
