"""What the machine has and how its processes stand: memory in all, a kernel's own, and its turn on the processor."""

import contextlib
import os
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import psutil

_CGROUP, _GROUPS = Path("/proc/self/cgroup"), Path("/sys/fs/cgroup")
_AUTOGROUP = Path("/proc/sys/kernel/sched_autogroup_enabled")


def memories() -> list[tuple[int, int]]:
    """Bytes used and bytes in all: the machine's, and its container's where that has less."""
    machine = psutil.virtual_memory()
    found = [(machine.total - machine.available, machine.total)]
    with contextlib.suppress(OSError, ValueError):  # no Linux
        found += [(used, total) for used, total in groups(_CGROUP.read_text(), _GROUPS) if total < machine.total]
    return found


def groups(member_of: str, root: Path) -> Iterator[tuple[int, int]]:
    """Bytes used and allowed of each control group with a limit that a process is in.

    member_of: what /proc/self/cgroup says, in the older or the newer way; root: where the groups are seen. A container
    may not see its own group's folder, only what lies above as its root.
    """
    for line in member_of.splitlines():
        number, kinds, path = line.split(":", 2)
        if number == "0" and not kinds:
            top, names = root, ("memory.max", "memory.current", "inactive_file")
        elif "memory" in kinds.split(","):
            top, names = root / "memory", ("memory.limit_in_bytes", "memory.usage_in_bytes", "total_inactive_file")
        else:
            continue
        most, now, idle = names
        folder = top / path.strip("/")
        for place in (folder, *folder.parents):
            with contextlib.suppress(OSError, ValueError, KeyError):
                total, used = int((place / most).read_text()), int((place / now).read_text())
                about = dict(line.split() for line in (place / "memory.stat").read_text().splitlines())
                # Files that were read once are let go where memory is wanted.
                yield used - min(used, int(about[idle])), total
            if place == top:
                break


def own_bytes(pid: int) -> int:
    """Bytes of a process that no other one shares; 0 where it is gone."""
    with contextlib.suppress(psutil.Error):
        process = psutil.Process(pid)
        try:
            return process.memory_full_info().uss
        except psutil.AccessDenied:
            return process.memory_info().rss
    return 0


def wanted_s(pid: int) -> float | None:
    """Seconds of the processor that a process's main thread has had or waited for; None where it cannot be told.

    On a full machine one that never rests gets little, and waits the rest of the time.
    """
    try:
        had, waited, _ = Path(f"/proc/{pid}/schedstat").read_text().split()
        return (int(had) + int(waited)) / 1e9
    except (OSError, ValueError):
        pass
    with contextlib.suppress(psutil.Error):
        used = psutil.Process(pid).cpu_times()
        return used.user + used.system
    return None


class QueueSteps:
    """Puts processes further back in the processor's queue, by the way that can be taken back here.

    A process may always be put lower. Back up, `nice` needs a right that few users have. Where Linux queues by session
    (autogroup; then `nice` means nothing between sessions, and each kernel has one of its own), a session's step is
    anybody's to change. Where neither can be taken back nothing is done: whoever once ran a second would stay there.
    """

    _own = 0

    def __init__(self) -> None:
        self._by_session = _on(_AUTOGROUP)
        with contextlib.suppress(OSError, ValueError, AttributeError):
            text = Path("/proc/self/autogroup").read_text() if self._by_session else ""
            self._own = int(text.split()[-1]) if text else os.getpriority(os.PRIO_PROCESS, 0)
        #: Whether a process can be put lower and back up here.
        self.possible = self._by_session or _may_go_up()

    def put(self, pid: int, step: int) -> bool:
        """Put it so many steps behind this process; False where that has to be tried again, or it is gone."""
        step = min(self._own + step, 19)
        try:
            if self._by_session:  # the system takes one such change in a tenth of a second
                Path(f"/proc/{pid}/autogroup").write_text(str(step))
            else:
                os.setpriority(os.PRIO_PROCESS, pid, step)
        except OSError:
            return False
        return True


def _on(switch: Path) -> bool:
    with contextlib.suppress(OSError):
        return switch.read_text().strip() == "1"
    return False


def _may_go_up() -> bool:
    """Whether this process may undo a step: tried in a thread that ends. (On Linux each has a step of its own.)"""
    if sys.platform != "linux":
        return False
    could = False

    def go_down_and_up() -> None:
        nonlocal could
        with contextlib.suppress(OSError):
            now = os.getpriority(os.PRIO_PROCESS, 0)
            os.setpriority(os.PRIO_PROCESS, 0, min(now + 1, 19))
            os.setpriority(os.PRIO_PROCESS, 0, now)
            could = True

    trial = threading.Thread(target=go_down_and_up)
    trial.start()
    trial.join()
    return could
