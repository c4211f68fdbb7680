"""Looking after kernels: memory and processor as a test says they are, and once as they are."""

import asyncio
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psutil
from hypothesis import given
from hypothesis import strategies as st

from piezolab.serving import machine, watch
from piezolab.serving.bounds import BACK, BELOW
from piezolab.serving.machine import QueueSteps, groups, memories, own_bytes, wanted_s
from piezolab.serving.seats import TOO_LARGE
from piezolab.serving.watch import EVERY_S, FULL, LARGE, MemoryWatch, ProcessorWatch, needed
from tests.serving.live import comes_true
from tests.serving.test_seats import Clock

MB = 2**20


PARTS = st.integers(1, 99)


def play(scene) -> None:
    """Run it in a thread: a browser's tests before may have left a loop running here."""
    with ThreadPoolExecutor(1) as elsewhere:
        elsewhere.submit(asyncio.run, scene).result()


@given(st.dictionaries(st.sampled_from("abcdef"), st.integers(1, 600), min_size=1), PARTS, PARTS)
def test_the_largest_ends_where_memory_is_short_and_no_small_one_ever(sizes, machine_part, group_part):
    ended = []

    async def free(kernel: str, why: int) -> None:
        ended.append((kernel, why))

    used = [(machine_part, 100), (group_part, 100)]
    looking = MemoryWatch(free, lambda: used, lambda pid: pid * MB)
    play(looking.look(sizes))
    largest = max(sizes.values())
    short = max(machine_part, group_part) / 100 >= FULL
    assert bool(ended) == (short and largest * MB > LARGE)
    for kernel, why in ended:
        assert sizes[kernel] == largest and why == TOO_LARGE


def test_memory_that_is_short_for_another_reason_is_said_once(caplog):
    full = [0.9]

    async def look() -> None:
        looking = MemoryWatch(None, lambda: [(full[0] * 100, 100)], lambda pid: pid * MB)
        for _ in range(3):
            await looking.look({"a": 50})
        full[0] = 0.5
        await looking.look({"a": 500})
        full[0] = 0.9
        await looking.look({})

    play(look())
    assert caplog.text.count("no page is large") == 2


def write(folder: Path, **files: object) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name.replace("__", ".")).write_text(f"{text}\n")


def test_a_containers_memory_is_read_in_the_newer_and_the_older_way(tmp_path):
    """The files of the kernel's documentation (cgroup-v2.rst, cgroup-v1/memory.rst; names from memory)."""
    write(tmp_path / "a", memory__max=1000, memory__current=700, memory__stat="anon 400\ninactive_file 250")
    write(tmp_path / "a/b", memory__max="max", memory__current=600, memory__stat="anon 400\ninactive_file 9")
    assert list(groups("0::/a/b\n", tmp_path)) == [(450, 1000)]
    old = {"memory__limit_in_bytes": 2000, "memory__usage_in_bytes": 90, "memory__stat": "total_inactive_file 100"}
    write(tmp_path / "memory", **old)
    assert list(groups("5:cpu:/x\n4:memory:/not/seen\n0::/a", tmp_path)) == [(0, 2000), (450, 1000)]
    assert list(groups("0::/elsewhere", tmp_path)) == [] and list(groups("", tmp_path)) == []


def test_this_machines_memory_is_told():
    for used, total in memories():
        assert 0 <= used <= total and total > 100 * MB
    assert memories()[0][1] == psutil.virtual_memory().total


def test_a_rooms_need_is_said_and_what_fits(monkeypatch):
    monkeypatch.setattr(machine, "memories", lambda: [(0, 24 * 2**30), (0, 2 * 2**30)])
    assert needed(20) == "20 seats need about 1.3 GB of 2.0 GB of memory."
    assert needed(1).startswith("1 seat needs")
    assert needed(40).endswith("That is too much here: start with --seats 22.")
    assert "too much" not in needed(22)


class Fake:
    """Processes that want so much of the processor; what is done to them."""

    def __init__(self) -> None:
        self.wanted: dict[int, float] = {}
        self.steps: dict[int, int] = {}
        self.clock, self.refuse = Clock(), False
        self.watch = ProcessorWatch(self.put, self.wanted.get, self.clock)

    def put(self, pid: int, step: int) -> bool:
        if not self.refuse:
            self.steps[pid] = step
        return not self.refuse

    def pass_time(self, parts: dict[int, float], looks: int = 1) -> None:
        for _ in range(looks):
            self.clock.now += EVERY_S
            for pid, part in parts.items():
                self.wanted[pid] = self.wanted.get(pid, 0.0) + part * EVERY_S
            self.watch.look(list(parts))


def test_who_never_rests_stands_back_after_a_second_and_comes_up_again():
    fake = Fake()
    fake.pass_time({1: 1.0, 2: 0.3}, 2)
    assert fake.steps == {1: BELOW, 2: BELOW}
    fake.pass_time({1: 1.0, 2: 0.3}, 2)
    assert fake.steps == {1: BACK, 2: BELOW}
    fake.pass_time({1: 0.6, 2: 0.6}, 4)
    assert fake.steps == {1: BACK, 2: BELOW}
    fake.pass_time({1: 0.2, 2: 0.3}, 2)
    assert fake.steps == {1: BELOW, 2: BELOW}
    fake.pass_time({1: 1.0, 2: 0.3})
    assert fake.steps[1] == BELOW  # not for what it did before


def test_one_alone_never_stands_back():
    fake = Fake()
    fake.pass_time({1: 1.0}, 9)
    assert fake.steps == {1: BELOW}
    fake.pass_time({1: 1.0, 2: 0.0})
    assert fake.steps[1] == BACK
    fake.pass_time({1: 1.0})
    assert fake.steps[1] == BELOW


def test_a_page_that_is_made_stands_back_where_others_are_open():
    fake = Fake()
    fake.wanted.update({1: 0.0, 2: 0.0})
    fake.watch.look([1], {1})
    assert fake.steps == {1: BELOW}
    fake.watch.look([1, 2], {2})
    assert fake.steps == {1: BELOW, 2: BACK}
    fake.watch.look([1, 2])
    assert fake.steps == {1: BELOW, 2: BELOW}


def test_a_step_that_is_refused_is_tried_again():
    fake = Fake()
    fake.refuse = True
    fake.pass_time({1: 1.0, 2: 0.0}, 5)
    fake.refuse = False
    fake.pass_time({1: 1.0, 2: 0.0})
    assert fake.steps == {1: BACK, 2: BELOW}


def test_who_never_rests_wants_the_processor_and_who_sleeps_does_not():
    """Two that never rest get half of a processor each where both can be kept on one, and want it all the same."""
    keep = "os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})" if hasattr(os, "sched_setaffinity") else ""
    busy = f"import os\n{keep}\nprint(flush=True)\nwhile True: pass"
    rests = "import time\nprint(flush=True)\ntime.sleep(60)"
    run = [
        subprocess.Popen([sys.executable, "-c", text], start_new_session=True, stdout=subprocess.PIPE)
        for text in (busy, busy, rests)
    ]
    try:
        for process in run:
            process.stdout.readline()
        before, begun = [wanted_s(p.pid) for p in run], time.monotonic()
        time.sleep(0.6)
        parts = [(wanted_s(p.pid) - was) / (time.monotonic() - begun) for p, was in zip(run, before, strict=True)]
        # Where the system does not tell what one has waited for, how much it got is anybody's guess.
        least = watch.RESTLESS if Path("/proc/self/schedstat").exists() else parts[2]
        assert min(parts[:2]) > least and parts[2] < 0.5
        assert own_bytes(run[0].pid) > MB
        steps = QueueSteps()
        if steps.possible:
            for step in (BACK, BELOW):
                assert comes_true(lambda step=step: steps.put(run[0].pid, step), 10)
                assert standing(run[0].pid) - standing(os.getpid()) == step
        else:  # on Linux it has been tried whether what goes down comes up again
            assert sys.platform != "linux" or (steps.put(run[0].pid, BACK) and not steps.put(run[0].pid, BELOW))
    finally:
        for process in run:
            process.kill()
            process.wait()
            process.stdout.close()
    assert own_bytes(run[0].pid) == 0 and wanted_s(run[0].pid) is None


def standing(pid: int) -> int:
    """Where a process stands, by session where the system queues so; the first session of all has no text."""
    switch = Path("/proc/sys/kernel/sched_autogroup_enabled")
    if switch.exists() and switch.read_text().strip() == "1":
        return int((Path(f"/proc/{pid}/autogroup").read_text().split() or ["0"])[-1])
    return os.getpriority(os.PRIO_PROCESS, pid)
