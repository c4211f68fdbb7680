"""Kernels forked from the warm process: as good as ordinary ones, each by itself, and dispensable."""

import json
import os
import re
import resource
import signal
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest
import requests

from piezolab.serving.bounds import BELOW, DATA_BYTES
from piezolab.serving.warm import imports_of, wanted
from tests.room.conftest import Abandoned, Guest, open_room
from tests.room.test_kept_room import free_port
from tests.serving.live import LiveServer, comes_true
from tests.serving.visitor import hear, say


@pytest.fixture(autouse=True)
def nobody_there(warm_room):
    """Each test comes into an empty room and leaves one."""
    assert warm_room.kernels_become(0, 20)


def inside(guest: Guest, query: str = "?pickup_c=4n7") -> dict:
    """What a kernel says about itself."""
    page = guest.http.get(guest.server.url + "what-is-inside" + query, timeout=60).text
    text = json.loads('"' + re.search(r"INSIDE(.*?)ENDS", page)[1] + '"')
    assert "said to standard output" in page
    return json.loads(text)


def open_files(pid: int) -> set[str]:
    """What a process has open, sockets by their number in the system."""
    return {os.readlink(f"/proc/{pid}/fd/{number}") for number in os.listdir(f"/proc/{pid}/fd")}


@pytest.fixture
def guest(warm_room):
    """Somebody who has come through the door."""
    new = Guest(warm_room)
    new.knock()
    return new


def test_forked_kernel_has_surroundings_of_its_own(warm_room, guest):
    one, two = inside(guest), inside(guest, "?pickup_c=1n")
    warm = warm_room.warm().pid
    for about, query in ((one, "pickup_c=4n7"), (two, "pickup_c=1n")):
        assert about["query"] == query
        assert about["parent"] == warm and about["session"] == about["group"] == about["pid"]
        assert about["signals"] == ["0", "0"] and about["blocked"] == []
    for same, other in zip(one["random"], two["random"], strict=True):
        assert same != other


def limits_of(pid: int) -> tuple[int, int]:
    return resource.prlimit(pid, resource.RLIMIT_DATA)


def test_kernels_have_a_limit_of_data_and_stand_back_and_the_warm_process_does_not(warm_room, guest):
    about, warm = inside(guest), warm_room.warm()
    assert about["data"] == [DATA_BYTES, DATA_BYTES] and about["taken"] == [50, "MemoryError", 50]
    assert about["nice"] == min(psutil.Process(warm_room.process.pid).nice() + BELOW, 19)
    assert limits_of(warm.pid) == limits_of(os.getpid()) == limits_of(warm_room.process.pid)
    assert warm.nice() == psutil.Process(warm_room.process.pid).nice()
    assert warm.environ()["MALLOC_ARENA_MAX"] == "2"


def test_ordinary_kernels_have_them_too(room):
    assert room.kernels_become(0, 60)
    guest = Guest(room)
    guest.knock()
    about = inside(guest)
    assert about["data"] == [DATA_BYTES, DATA_BYTES] and about["taken"] == [50, "MemoryError", 50]
    assert about["nice"] > psutil.Process(room.process.pid).nice() and about["arenas"] == "2"


def open_and_come_at_once(folder: Path) -> tuple[LiveServer, Guest]:
    """A room whose first guest comes as soon as its port can be spoken to, and not when it says that it is ready."""
    port = free_port()
    guest = Guest(SimpleNamespace(url=f"http://127.0.0.1:{port}/"))
    with ThreadPoolExecutor(1) as beside:
        opening = beside.submit(open_room, folder, warm=True, port=port)
        while not guest.http.cookies:
            try:
                guest.knock()
            except requests.ConnectionError:
                assert not opening.done() or not opening.exception()
                time.sleep(0.05)
        guest.place()
        guest.sit_down()
        guest.server = opening.result()
    return guest.server, guest


def test_forked_kernel_inherits_nothing_of_the_server_and_the_first_guest_waits_for_it(room_notebooks, monkeypatch):
    monkeypatch.setenv("SOME_SECRET", "x")
    monkeypatch.setenv("JUPYTERHUB_API_TOKEN", "x")
    server, guest = open_and_come_at_once(room_notebooks)
    try:
        [first] = server.kernels()
        assert first.parent().pid == server.warm().pid
        assert guest.leave(next(iter(guest.lines))) == 204 and server.kernels_become(0, 60)
        about = inside(guest)
        assert about["secrets"] == []
        [kernel] = server.kernels()
        assert kernel.parent().pid == server.warm().pid
        assert not {name for name in server.warm().environ() if "SECRET" in name or "TOKEN" in name}
        mine = psutil.Process(server.process.pid)
        listening = {line.laddr for line in mine.net_connections("inet") if line.status == "LISTEN"}
        # Sockets by their number in the system: none of the server's or of the line to the warm process.
        sockets = {name for name in about["files"] if name.startswith("socket:")}
        assert listening and not sockets & open_files(mine.pid) and not sockets & open_files(server.warm().pid)
        assert not {line.laddr for line in kernel.net_connections("inet")} & listening
    finally:
        server.stop()


def test_forked_kernel_answers_and_its_widgets_move(guest):
    kernel = guest.sit_down("does-it-slide")
    line = guest.lines[kernel]
    say(line, "kernel_info_request", {})
    assert hear(line, "kernel_info_reply")["content"]["language_info"]["name"] == "python"
    assert guest.leave(kernel) == 204


def test_ended_kernels_leave_no_dead_processes_behind(warm_room, guest):
    for _ in range(4):
        kernel = guest.sit_down()
        assert guest.leave(kernel) == 204
        assert warm_room.kernels_become(0, 30)
    assert comes_true(lambda: warm_room.warm().children() == [])


def test_killed_forked_kernel_is_noticed(warm_room, guest):
    kernel = guest.sit_down()
    warm_room.kernels()[0].kill()
    assert hear(guest.lines[kernel], "never", 60) is None and not guest.lines[kernel].connected
    assert guest.http.get(warm_room.url + "api/kernels/" + kernel, timeout=20).status_code == 404


def test_warm_process_has_one_thread_and_no_sockets_but_its_line(warm_room):
    warm = warm_room.warm()
    assert warm.num_threads() == 1 and warm.net_connections("inet") == []
    assert warm.environ()["OPENBLAS_NUM_THREADS"] == "1"


def test_visits_to_a_warm_server_leave_nothing_open(warm_room, guest):
    process = psutil.Process(warm_room.process.pid)

    def visits(count: int) -> None:
        for _ in range(count):
            kernel = guest.sit_down()
            line = guest.lines.pop(kernel)
            assert guest.leave(kernel) == 204
            line.close()
            assert warm_room.kernels_become(0, 30)

    def held() -> int:
        return process.num_fds() + warm_room.warm().num_fds()

    visits(3)
    time.sleep(0.5)  # what is about to be closed would only hide a leak
    before = held()
    visits(6)
    assert comes_true(lambda: held() <= before + 3)


def test_thirty_abandoned_loads_leave_nothing(warm_room):
    abandoned = Abandoned(warm_room, seed=11)
    for _ in range(8):  # what is set up once
        abandoned.load()
    assert warm_room.kernels_become(0, 60)
    before = abandoned.left()
    for _ in range(30):
        abandoned.load()
    assert warm_room.kernels_become(0, 60)
    assert abandoned.most_kernels and set(abandoned.codes) == {200, 429} and not abandoned.without_sentence
    assert comes_true(lambda: abandoned.left()["handles"] <= before["handles"] + 3 and not abandoned.left()["files"])
    assert abandoned.left()["MB"] < before["MB"] + 12
    assert "never retrieved" not in warm_room.output and "Traceback" not in warm_room.output


def test_without_its_warm_process_a_room_goes_on(room_notebooks):
    server = open_room(room_notebooks, warm=True)
    try:
        guest = Guest(server)
        first = guest.come_in("does-it-slide")
        [forked] = server.kernels()
        os.kill(server.warm().pid, signal.SIGKILL)
        server.wait_for("no kernels can be forked just now", 60)
        # Who sat stays seated.
        say(guest.lines[first], "kernel_info_request", {})
        assert hear(guest.lines[first], "kernel_info_reply") and forked.is_running()
        other = Guest(server)
        second = other.come_in("does-it-slide")
        assert len([line for line in server.kernels() if "ipykernel_launcher" in line.cmdline()]) == 1
        assert guest.leave(first) == 204 and other.leave(second) == 204
        forked.wait(60)
    finally:
        server.stop()


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_neither_warm_process_nor_kernels_outlive_the_server(room_notebooks, how):
    server = open_room(room_notebooks, warm=True)
    guest = Guest(server)
    guest.come_in()
    processes = [server.warm(), *server.kernels()]
    assert len(processes) == 2
    server.stop(how)
    for process in processes:
        process.wait(60)


def test_all_that_pages_import_is_warmed():
    names = wanted()
    assert {"piezolab.pages.kit.plot", "piezolab.studies.figures", "numpy", "ipywidgets", "anywidget"} <= set(names)
    assert not [name for name in names if name.startswith(("piezolab.serving", "piezolab.cli"))]


@pytest.mark.parametrize(
    "source, names",
    [
        ("import a.b", {"a.b"}),
        ("def f():\n    from a import b as c", {"a", "a.b"}),
        ("from . import b", set()),
        ("this is no python", set()),
    ],
)
def test_imports_are_read_from_a_source(source, names):
    assert imports_of(source) == names
