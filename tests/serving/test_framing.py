"""Binary messages: read as the stock writers lay them, and never believed beyond their own length."""

import ast
import asyncio
import inspect
import json
import logging
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jupyter_client.client import KernelClient
from jupyter_server.base.websocket import WebSocketMixin
from jupyter_server.services.kernels.connection.base import (
    deserialize_msg_from_ws_v1,
    serialize_binary_message,
    serialize_msg_to_ws_v1,
)
from tornado.ioloop import IOLoop
from voila import handler
from voila.tornado.kernel_websocket_handler import read_header_from_binary_message

from piezolab.serving.channels import keeps_to_itself
from piezolab.serving.framing import MOST_OFFSETS, V1, header_and_content, offsets
from piezolab.serving.pages import SIGN_OF_LIFE
from tests.serving.visitor import Visitor, hear, say

words = st.dictionaries(st.text(max_size=8), st.text(max_size=20), max_size=4)


@given(words, words, st.lists(st.binary(max_size=30), max_size=5))
def test_both_framings_are_read_as_the_stock_writers_lay_them(header, content, buffers):
    parts = [json.dumps(part).encode() for part in (header, {}, {}, content)]
    new = serialize_msg_to_ws_v1([*parts, *buffers], "shell")
    assert header_and_content(new, v1=True) == (header, content)
    if buffers:
        whole = {"header": header, "parent_header": {}, "metadata": {}, "content": content, "buffers": buffers}
        assert header_and_content(serialize_binary_message(whole), v1=False) == (header, content)


@given(st.binary(max_size=300), st.booleans())
def test_any_bytes_are_read_or_refused_at_once(message, v1):
    found = offsets(message, v1)
    assert found is None or (len(found) <= MOST_OFFSETS and found[-1] <= len(message))
    header, content = header_and_content(message, v1)
    assert isinstance(header, dict) and isinstance(content, dict)


@given(words, words, st.binary(max_size=30), st.integers(1, 2**62))
def test_a_message_that_ends_before_its_last_offset_is_none(header, content, buffer, beyond):
    """Well made but for the offset's value: random bytes seldom have a head that is believed so far."""
    parts = [json.dumps(part).encode() for part in (header, {}, {}, content)]
    new = serialize_msg_to_ws_v1([*parts, buffer], "shell")
    whole = {"header": header, "parent_header": {}, "metadata": {}, "content": content, "buffers": [buffer]}
    old = serialize_binary_message(whole)
    for message, size, order, v1 in ((new, 8, "little", True), (old, 4, "big", False)):
        last = size * int.from_bytes(message[:size], order)
        end = len(message)
        reaching = min(end + beyond, 256**size - 1)
        lying = message[:last] + reaching.to_bytes(size, order) + message[last + size :]
        assert offsets(lying, v1) is None and header_and_content(lying, v1) == ({}, {})
        assert not keeps_to_itself(lying, v1)
        honest = message[:last] + end.to_bytes(size, order) + message[last + size :]
        assert offsets(honest, v1)[-1] == end


@pytest.mark.parametrize("binary", [True, False])
@pytest.mark.parametrize("name", ["stderr", "stdout"])
def test_standard_error_stays_here_and_standard_output_does_not(name, binary):
    header, content = {"msg_type": "stream"}, {"name": name, "text": "a secret word"}
    parts = [json.dumps(part).encode() for part in (header, {}, {}, content)]
    if binary:
        kept = keeps_to_itself(serialize_msg_to_ws_v1(parts, "iopub"), True)
    else:
        kept = keeps_to_itself(json.dumps({"header": header, "content": content}), False)
    assert kept == (name == "stderr")


@pytest.mark.parametrize("kind", ["error", "execute_input"])
def test_what_the_kernel_says_of_itself_stays_here(kind):
    parts = [json.dumps(part).encode() for part in ({"msg_type": kind}, {}, {}, {"traceback": ["x"]})]
    assert keeps_to_itself(serialize_msg_to_ws_v1(parts, "iopub"), True)
    assert keeps_to_itself(json.dumps({"header": {"msg_type": kind}, "content": {}}), False)
    assert not keeps_to_itself(json.dumps({"header": {"msg_type": "status"}, "content": {}}), False)


@pytest.mark.parametrize("protocol", [None, V1])
def test_message_that_lies_about_its_length_does_not_stop_the_server(server, protocol):
    """The stock readers count to 10^18 for it."""
    visitor = Visitor(server)
    kernel = visitor.open()
    line = visitor.channel(kernel, subprotocols=[protocol] if protocol else None)
    for lie in (b"\xff" * 8, b"\xff" * 7 + b"\x7f" + b"x" * 100, b"\x7f" + b"\xff" * 30, b"", b"\x01"):
        line.send_binary(lie)
    assert visitor.http.get(server.url + "nowhere", timeout=60).status_code == 404
    line.close()
    again = visitor.channel(kernel)
    say(again, "kernel_info_request", {})
    assert hear(again, "kernel_info_reply")
    assert visitor.leave(kernel) == 204


def test_binary_answer_in_the_older_framing_does_not_stop_the_server(server):
    """The stock filter reads it as if it were in the newer one."""
    visitor = Visitor(server)
    kernel = visitor.open("does-it-move")
    line = visitor.channel(kernel)
    opening = {"comm_id": "c", "target_name": "jupyter.widget.control", "data": {}}
    say(line, "comm_open", opening, metadata={"version": "1.0.0"})
    say(line, "comm_msg", {"comm_id": "c", "data": {"method": "request_states"}})
    while True:
        opcode, data = line.recv_data()
        if opcode == 2:
            break
    header, content = header_and_content(data, v1=False)
    assert header["msg_type"] == "comm_msg" and content["data"]["states"]
    assert visitor.leave(kernel) == 204


class Watched(bytes):
    """Bytes that count how often a part of them is taken."""

    taken = 0

    def __getitem__(self, key):
        Watched.taken += 1
        return bytes(super().__getitem__(key))


@pytest.mark.parametrize("reader", [read_header_from_binary_message, deserialize_msg_from_ws_v1])
def test_stock_readers_still_believe_a_message(reader):
    """Once this fails they do no longer, and `framing` need not stand before them."""
    Watched.taken = 0
    try:
        reader(Watched((5000).to_bytes(8, "little") + b"short"))
    except Exception:
        pass  # whatever it makes of the nonsense in the end
    assert Watched.taken > 5000


def test_stock_pings_still_close_a_good_line():
    """Once this fails they do no longer, and the channel's own `send_ping` can go."""

    class Line(WebSocketMixin):
        ws_connection = SimpleNamespace(client_terminated=False)
        ping_interval = ping_timeout = 20_000
        log = logging.getLogger("nobody")
        closed = False

        def close(self):
            self.closed = True

        def ping(self, _data):
            pass

    async def look() -> bool:
        line = Line()
        # Opened one interval ago, to the millisecond and a little: nothing has been asked and nothing missed.
        line.last_ping = line.last_pong = IOLoop.current().time() - 20.004
        line.send_ping()
        return line.closed

    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(asyncio.run, look()).result(60)


def test_stock_handler_still_sends_its_sign_of_life():
    """Once this fails it is sent no longer, or as another text, and `pages` must look for that or for nothing."""
    asked = ast.walk(ast.parse(inspect.getsource(handler)))
    sent = [node.value for node in asked if isinstance(node, ast.Constant) and isinstance(node.value, str)]
    assert [text for text in sent if text.startswith(SIGN_OF_LIFE)] == [f"{SIGN_OF_LIFE}()</script>\n"]


def test_stock_client_still_waits_for_silence():
    """Once this fails it does no longer, and `PromptClient` can go."""
    assert "Flush IOPub channel" in inspect.getsource(KernelClient._async_wait_for_ready)
