"""When a kernel starts and ends, and what becomes of it when something fails."""

import json
import signal
import socket
import time
from pathlib import Path
from urllib.parse import urlsplit

import psutil
import pytest
import websocket

from piezolab.serving.seats import Seats
from tests.serving.live import LiveServer, comes_true
from tests.serving.visitor import Visitor, hear, say


@pytest.fixture
def visitor(server):
    """A visitor who comes to a server without kernels."""
    assert server.kernels_become(0, 60)
    return Visitor(server)


def test_goodbye_frees_the_kernel_at_once(live):
    """On the server with the stock patience: without the goodbye it would take `unopened_s`."""
    server, visitor = live, Visitor(live)
    assert server.kernels_become(0, 60)
    kernel_id = visitor.open()
    assert len(server.kernels()) == 1
    assert visitor.leave(kernel_id) == 204
    assert visitor.leave(kernel_id) == 404
    assert Seats(1).unopened_s > 20 and server.kernels_become(0, 10)  # not because it was never connected


def test_a_page_dropped_half_made_frees_its_kernel_at_once(live):
    assert live.kernels_become(0, 60)
    address = urlsplit(live.url)
    with socket.create_connection((address.hostname, address.port), timeout=20) as line:
        line.sendall(f"GET /is-it-empty HTTP/1.1\r\nHost: {address.netloc}\r\n\r\n".encode())
        assert comes_true(live.kernels)
    assert Seats(1).unopened_s > 20 and live.kernels_become(0, 20)
    assert "never retrieved" not in live.output and "Traceback" not in live.output


def test_stock_goodbye_frees_nothing(visitor):
    """Voila sends it before the visitor has decided to leave; its own answer was 403."""
    kernel = visitor.open()
    address = visitor.server.url + "voila/api/shutdown/" + kernel
    assert visitor.http.post(address, timeout=20).status_code == 204
    assert visitor.http.get(visitor.server.url + "api/kernels/" + kernel, timeout=20).status_code == 200
    visitor.leave(kernel)


def test_page_that_is_never_connected_gives_its_kernel_back(visitor):
    visitor.open()
    assert visitor.server.kernels()
    assert visitor.server.kernels_become(0, 60)


def test_lost_connection_gives_the_kernel_back_after_a_while(visitor):
    kernel_id = visitor.open()
    line = visitor.channel(kernel_id)
    time.sleep(3.5)  # longer than the patience of this server: a connected page is never taken away
    assert visitor.http.get(visitor.server.url + "api/kernels/" + kernel_id, timeout=20).status_code == 200
    line.shutdown()
    assert visitor.server.kernels_become(0, 60)


def test_dead_kernel_closes_its_channel_with_a_reason(visitor):
    kernel_id = visitor.open()
    line = visitor.channel(kernel_id)
    [process] = visitor.server.kernels()
    process.kill()
    line.settimeout(60)
    code = 0
    while not code:
        opcode, data = line.recv_data()
        if opcode == websocket.ABNF.OPCODE_CLOSE:
            code = int.from_bytes(data[:2], "big")
    assert code == 4404
    assert visitor.http.get(visitor.server.url + "api/kernels/" + kernel_id, timeout=20).status_code == 404
    assert visitor.server.kernels_become(0, 60)


def test_kernel_that_dies_while_its_page_is_made_does_not_hang_it(visitor):
    start = time.monotonic()
    page = visitor.http.get(visitor.server.url + "does-it-die", timeout=60)
    assert page.status_code == 200 and time.monotonic() - start < 20
    assert "Traceback" not in page.text and "site-packages" not in page.text
    assert visitor.server.kernels_become(0, 60)
    assert "never retrieved" not in visitor.server.output


def test_visits_leave_nothing_open_on_the_server(visitor):
    """Sockets and files of the server after many visits, however they end."""
    process = psutil.Process(visitor.server.process.pid)

    def visits(count: int) -> None:
        for number in range(count):
            kernel_id = visitor.open()
            line = visitor.channel(kernel_id)
            say(line, "kernel_info_request", {})
            assert hear(line, "kernel_info_reply")
            if number % 3 == 0:
                assert visitor.leave(kernel_id) == 204
                line.close()
            elif number % 3 == 1:
                line.close()
                assert visitor.leave(kernel_id) == 204
            else:
                visitor.server.kernels()[0].kill()
                assert hear(line, "never", 60) is None
            assert visitor.server.kernels_become(0, 60)

    visits(3)
    time.sleep(0.5)  # what is about to be closed would only hide a leak
    before = process.num_fds()
    visits(6)
    assert comes_true(lambda: process.num_fds() <= before + 3)


def test_kernels_talk_over_unix_sockets_that_only_this_user_can_reach(visitor):
    kernel = visitor.open()
    [process] = visitor.server.kernels()
    file = next(Path(word) for word in process.cmdline() if word.endswith(".json"))
    about = json.loads(file.read_text())
    assert about["transport"] == "ipc"
    ports = [about[name] for name in about if name.endswith("_port")]
    assert len(ports) == 5 and all(Path(f"{about['ip']}-{port}").is_socket() for port in ports)
    assert file.parent.stat().st_mode & 0o077 == 0
    # What is left is ipykernel's own pipe for the output of child processes, guarded by a random word.
    assert len([line for line in process.net_connections("inet") if line.status == "LISTEN"]) <= 1
    visitor.leave(kernel)


def test_seats_are_counted_and_the_next_visitor_is_told(small_notebooks):
    server = LiveServer(small_notebooks, seats=1)
    try:
        first, second = Visitor(server), Visitor(server)
        kernel_id = first.open()
        page = second.http.get(server.url + "is-it-empty", timeout=20)
        assert page.status_code == 503 and page.headers["Retry-After"] == "10"
        assert "All seats are taken" in page.text
        assert first.leave(kernel_id) == 204
        assert second.leave(second.open()) == 204
    finally:
        server.stop()


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_no_kernel_outlives_the_server(small_notebooks, how):
    server = LiveServer(small_notebooks)
    Visitor(server).open()
    [process] = server.kernels()
    folder = next(Path(word) for word in process.cmdline() if word.endswith(".json")).parent
    status = server.stop(how)
    process.wait(60)
    if how != signal.SIGKILL:
        assert status == 0 and "Traceback" not in server.output
        assert not folder.exists()
