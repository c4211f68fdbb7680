"""The websocket between a page and its kernel: whose it is and what may be said on it."""

import uuid

import pytest
import websocket

from piezolab.serving.app import MESSAGE_LIMIT
from tests.serving.visitor import Visitor, hear, say


@pytest.fixture(scope="module")
def visitor(server):
    """A visitor with a page of their own."""
    return Visitor(server)


@pytest.fixture(scope="module")
def kernel(visitor):
    """Their page's kernel, kept by an open channel and freed at the end."""
    kernel_id = visitor.open()
    line = visitor.channel(kernel_id)
    yield kernel_id
    line.close()
    visitor.leave(kernel_id)


def refused(visitor: Visitor, kernel_id: str, **options) -> int:
    """Status with which a channel is refused."""
    with pytest.raises(websocket.WebSocketBadStatusException) as caught:
        visitor.channel(kernel_id, **options)
    return caught.value.status_code


def test_owner_hears_from_the_kernel(visitor, kernel):
    line = visitor.channel(kernel)
    say(line, "kernel_info_request", {})
    reply = hear(line, "kernel_info_reply")
    assert reply["content"]["language_info"]["name"] == "python"
    line.close()


@pytest.mark.parametrize("channel", ["shell", "control", "stdin", "iopub", ""])
def test_execution_requests_are_ignored(visitor, kernel, tmp_path, channel):
    mark = tmp_path / "mark"
    line = visitor.channel(kernel)
    code = {"code": f"open({str(mark)!r}, 'w')", "silent": False, "store_history": False}
    for kind in ("execute_request", "EXECUTE_REQUEST", "execute_request "):
        say(line, kind, code, channel)
    for kind in ("debug_request", "complete_request", "inspect_request", "history_request", "input_reply"):
        say(line, kind, {**code, "cursor_pos": 1}, channel)
    say(line, "kernel_info_request", {})
    assert hear(line, "kernel_info_reply") is not None  # so all before it has been dealt with
    assert hear(line, "execute_reply", 0.5) is None
    assert not mark.exists()
    line.close()


def test_another_visitors_kernel_cannot_be_reached(server, visitor, kernel):
    stranger = Visitor(server)
    assert refused(stranger, kernel) == 404  # no cookie at all
    theirs = stranger.open()
    assert refused(stranger, kernel) == 404
    assert stranger.http.get(server.url + "api/kernels/" + kernel, timeout=20).status_code == 404
    assert stranger.leave(kernel) == 404
    forged = {"cookie": "; ".join(f"{name}=forged" for name in visitor.http.cookies.keys())}
    assert refused(stranger, kernel, **forged) == 404
    assert visitor.http.get(server.url + "api/kernels/" + kernel, timeout=20).status_code == 200
    assert stranger.leave(theirs) == 204


def test_one_visitor_may_have_several_pages(visitor, kernel):
    second = visitor.open()
    lines = [visitor.channel(kernel), visitor.channel(second)]
    for line in lines:
        say(line, "kernel_info_request", {})
        assert hear(line, "kernel_info_reply")
        line.close()
    assert visitor.leave(second) == 204


def test_page_of_another_site_cannot_connect(visitor, kernel):
    assert refused(visitor, kernel, origin="http://elsewhere.example") == 403


def test_kernel_that_never_was_looks_like_somebody_elses(visitor, kernel):
    assert refused(visitor, str(uuid.uuid4())) == 404


def test_kernel_can_be_looked_at_but_not_managed(visitor, kernel):
    address = visitor.server.url + "api/kernels/" + kernel
    assert visitor.http.delete(address, timeout=20).status_code in (403, 405)
    for action in ("/restart", "/interrupt"):
        assert visitor.http.post(address + action, timeout=20).status_code == 404
    assert visitor.http.post(visitor.server.url + "api/kernels", json={}, timeout=20).status_code == 404
    assert visitor.http.get(address, timeout=20).json() == {"id": kernel, "name": "python3"}


def test_message_of_nearly_the_limit_arrives(visitor, kernel):
    line = visitor.channel(kernel)
    say(line, "kernel_info_request", {}, metadata={"pad": "x" * (MESSAGE_LIMIT - 1000)})
    assert hear(line, "kernel_info_reply", 20)
    line.close()


def test_a_page_opens_nothing_in_its_kernel_but_its_question_for_the_state(visitor, kernel):
    line = visitor.channel(kernel)
    say(line, "comm_open", {"comm_id": "x1", "target_name": "jupyter.widget", "data": {"state": {}}})
    say(line, "comm_open", {"comm_id": "x2", "target_name": "jupyter.widget.control", "data": {}})
    say(line, "comm_info_request", {})
    comms = hear(line, "comm_info_reply")["content"]["comms"]
    assert "x1" not in comms
    line.close()


def test_message_beyond_the_limit_closes_the_channel_only(visitor, kernel):
    line = visitor.channel(kernel)
    with pytest.raises((websocket.WebSocketException, OSError)):
        line.send("x" * (MESSAGE_LIMIT + 1))
        for _ in range(100):
            if line.recv() == "":
                raise websocket.WebSocketConnectionClosedException
    again = visitor.channel(kernel)
    say(again, "kernel_info_request", {})
    assert hear(again, "kernel_info_reply")
    again.close()


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"header": 3}', '{"channel": "shell"}', "\x00"])
def test_nonsense_on_the_channel_hurts_nobody(visitor, kernel, text):
    line = visitor.channel(kernel)
    line.send(text)
    line.send_binary(b"\x01\x02\x03" + text.encode())
    line.close()
    again = visitor.channel(kernel)
    say(again, "kernel_info_request", {})
    assert hear(again, "kernel_info_reply")
    again.close()
