"""What a rude client can do to a room: nothing that the others notice."""

import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import urlsplit

import psutil
import pytest
import requests
import websocket

from piezolab.serving.bounds import BACK, BELOW
from piezolab.serving.channels import MESSAGES
from piezolab.serving.machine import QueueSteps
from piezolab.serving.seats import TOO_LARGE, TOO_MUCH
from tests.room.conftest import Guest
from tests.serving.live import comes_true
from tests.serving.test_watch import standing
from tests.serving.visitor import hear, say


@pytest.fixture(autouse=True)
def nobody_there(room):
    """Each test comes into an empty room and leaves one."""
    assert room.kernels_become(0, 60)


@pytest.fixture
def neighbour(room):
    """Somebody honest, whose page must go on answering."""
    guest = Guest(room)
    kernel = guest.come_in("does-it-slide")
    yield lambda: answers(guest, kernel)
    guest.leave(kernel)


def answers(guest: Guest, kernel: str) -> bool:
    """Whether the page's kernel answers, and another page can be asked for."""
    say(guest.lines[kernel], "kernel_info_request", {})
    page = requests.get(guest.server.url + "nowhere", timeout=60).status_code
    return hear(guest.lines[kernel], "kernel_info_reply") is not None and page == 404


def test_flood_of_messages_closes_the_flooding_page_only(room, neighbour):
    rude = Guest(room)
    kernel = rude.come_in()
    line = rude.lines[kernel]
    # Dropped, and counted; what a kernel is to answer is read as slowly as it answers.
    nobodys = '{"header": {"msg_type": "execute_request"}, "channel": "shell"}'
    try:
        for _ in range(MESSAGES[0] * 20):  # the allowance fills again while a slow server reads
            line.send(nobodys)
    except (OSError, websocket.WebSocketException):
        pass  # closed while sending
    code = 0
    try:
        while not code:
            opcode, data = line.recv_data()
            if opcode == websocket.ABNF.OPCODE_CLOSE:
                code = int.from_bytes(data[:2], "big")
    except (OSError, websocket.WebSocketException):
        code = TOO_MUCH  # the line broke before its last word was read
    assert code == TOO_MUCH
    assert room.wait_for("a page sent too much at once", 60)  # the line may break before the word arrives here
    assert neighbour()
    assert rude.leave(kernel) == 204


def test_messages_that_lack_a_part_are_dropped_and_said_nowhere(room, neighbour):
    guest = Guest(room)
    kernel = guest.come_in()
    for text in ("{}", '{"header": {}}', '{"header": {"msg_type": "comm_msg"}, "channel": "shell"}', "[1]", "nul"):
        guest.lines[kernel].send(text)
    assert answers(guest, kernel) and neighbour()
    assert "Traceback" not in room.output
    assert guest.leave(kernel) == 204


def test_a_large_page_that_never_rests_stands_back_and_ends_where_memory_is_short(room, neighbour):
    large, steps = Guest(room), QueueSteps()
    kernel = large.come_in("is-it-large")
    process = max(room.kernels(), key=lambda each: each.memory_info().rss)
    ours = standing(room.process.pid)

    def stands(step: int) -> bool:
        hear(large.lines[kernel], "never", 0.1)  # a line that answers no pings is closed
        return neighbour() and standing(process.pid) == ours + step

    if steps.possible:
        assert comes_true(lambda: stands(BACK)) and comes_true(lambda: stands(BELOW))
    else:  # whoever were put back once would stay there
        assert not comes_true(lambda: not stands(BELOW), 2)
    assert neighbour() and process.is_running()
    room.memory.write_text("71")
    try:
        assert closing(large.lines[kernel]) == TOO_LARGE
        assert room.wait_for(r"memory 71 % full: the largest page, \d+ MB, is ended", 60)
        assert room.kernels_become(1, 60) and neighbour()
        assert room.wait_for("no page is large", 60)  # the neighbour is spared
    finally:
        room.memory.write_text("30")
    assert large.http.get(room.url + "api/kernels/" + kernel, timeout=20).status_code == 404


def closing(line: websocket.WebSocket) -> int:
    """The code with which a channel is closed."""
    line.settimeout(60)
    while True:
        opcode, data = line.recv_data()
        if opcode == websocket.ABNF.OPCODE_CLOSE:
            return int.from_bytes(data[:2], "big")


def test_slow_requests_keep_nobody_out(room, neighbour):
    """Six hundred connections that send a header a word at a time: more than one address may hold."""
    address = urlsplit(room.url)
    slow = []
    try:
        for _ in range(600):
            line = socket.create_connection((address.hostname, address.port), timeout=10)
            line.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
            slow.append(line)
        assert neighbour()
        files = psutil.Process(room.process.pid).num_fds()
        assert files < 600
    finally:
        for line in slow:
            line.close()
    assert neighbour()


def test_slow_body_is_not_waited_for(room):
    address = urlsplit(room.url)
    with socket.create_connection((address.hostname, address.port), timeout=15) as line:
        line.sendall(b"POST /room/solved HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100\r\n\r\n{")
        assert line.recv(1000) == b"" or b"400" in line.recv(1000)


@pytest.mark.parametrize("length", [200_000, 10**12])
def test_large_upload_is_refused_before_it_is_read(room, neighbour, length):
    address = urlsplit(room.url)
    with socket.create_connection((address.hostname, address.port), timeout=20) as line:
        head = f"POST /room/solved HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {length}\r\n\r\n"
        line.sendall(head.encode() + b"x" * 1000)
        try:
            answer = line.recv(1000)
        except ConnectionResetError:
            answer = b""
        assert answer == b"" or b" 400 " in answer or b" 413 " in answer
    assert neighbour()


def test_pages_asked_for_without_end_are_not_made(room, neighbour):
    rude = Guest(room)
    rude.knock()
    with ThreadPoolExecutor(20) as many:
        codes = set(many.map(lambda _: rude.knock().status_code, range(40)))
    assert codes == {200, 429}
    assert len(room.kernels()) <= 5
    assert neighbour()
    assert room.kernels_become(1, 60)


def sits_down(guest: Guest) -> str:
    """Within ten seconds: the address gets a page back each second, a visitor one in twenty."""
    end = time.monotonic() + 10
    while True:
        try:
            return guest.sit_down()
        except AssertionError:
            assert time.monotonic() < end
            time.sleep(1)


def test_pages_that_are_dropped_one_after_another_are_soon_not_made(room, neighbour):
    """A page counts until somebody has come to it: who sits down before each may go on as long as they like."""
    rude, honest = Guest(room), Guest(room)
    rude.knock()
    begun, codes = time.monotonic(), []
    while 429 not in codes and len(codes) < 20:
        codes.append(rude.knock().status_code)
        assert neighbour()  # again and again: a client that reads nothing answers no ping, and is given up
    grown = int((time.monotonic() - begun) * 0.05)  # one more page every 20 s, where four take so long
    assert codes[:4] == [200] * 4 and codes[-1] == 429 and len(codes) <= 5 + grown
    honest.come_in()
    for _ in range(8):
        honest.leave(sits_down(honest))
        assert neighbour()


def test_lesson_in_the_address_is_never_markup(room):
    guest = Guest(room)
    hostile = "is-it-empty?lesson=%22%3E%3Cscript%3Ealert(1)%3C/script%3E"
    for path in (hostile, "projector?lesson=<script>alert(1)</script>", "room-sheet?<script>alert(1)</script>"):
        assert "<script>alert" not in guest.knock(path).text
        assert "<script>alert" not in guest.knock(path).text
    assert room.kernels_become(0, 60)


def test_full_disk_under_the_log_stops_nothing(room_notebooks):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    options = {"port": port, "host": "127.0.0.1", "notebooks": str(room_notebooks), "room": True, "warm": False}
    code = f"from piezolab.serving import serve; serve(verbose=True, **{options})"
    with open("/dev/full", "w") as full:
        process = subprocess.Popen([sys.executable, "-c", code], stdout=full, stderr=full)
    try:
        server = type("Server", (), {"url": f"http://127.0.0.1:{port}/"})()
        guest = Guest(server)
        end = time.monotonic() + 60
        while time.monotonic() < end:
            try:
                guest.knock()
                break
            except requests.ConnectionError:
                assert process.poll() is None
                time.sleep(0.2)
        kernel = guest.come_in("does-it-slide")
        assert answers(guest, kernel)
        assert guest.leave(kernel) == 204
    finally:
        process.terminate()
        assert process.wait(60) == 0
