"""A visitor without a browser: keeps cookies, opens pages, speaks on a kernel's channels."""

import json
import re
import time
import uuid
from urllib.parse import urlsplit

import requests
import websocket

from tests.serving.live import LiveServer


class Visitor:
    """A browser without a screen: keeps its cookies, opens pages and channels."""

    def __init__(self, server: LiveServer) -> None:
        self.server = server
        self.http = requests.Session()

    def open(self, slug: str = "is-it-empty") -> str:
        """Load a chapter and return its kernel's id."""
        page = self.http.get(self.server.url + slug, timeout=60)
        assert page.status_code == 200
        return re.search(r'"kernelId": "([\w-]+)"', page.text)[1]

    def channel(self, kernel_id: str, **options) -> websocket.WebSocket:
        """Connect to a kernel's channels."""
        address = urlsplit(self.server.url)
        cookie = "; ".join(f"{name}={value}" for name, value in self.http.cookies.items())
        options = {"origin": f"http://{address.netloc}", "cookie": cookie, "timeout": 60, **options}
        session = uuid.uuid4().hex
        return websocket.create_connection(
            f"ws://{address.netloc}/api/kernels/{kernel_id}/channels?session_id={session}", **options
        )

    def leave(self, kernel_id: str) -> int:
        """Say goodbye as a page does; the answer's status."""
        return self.http.post(self.server.url + "leave/" + kernel_id, timeout=20).status_code


def say(line: websocket.WebSocket, kind: str, content: dict, channel: str = "shell", **extra) -> str:
    """Send a kernel message and return its id."""
    header = {"msg_id": uuid.uuid4().hex, "msg_type": kind, "username": "", "session": "s", "version": "5.3"}
    message = {"header": header, "parent_header": {}, "metadata": {}, "content": content, "channel": channel}
    line.send(json.dumps({**message, **extra}))
    return header["msg_id"]


def hear(line: websocket.WebSocket, kind: str, seconds: float = 30) -> dict | None:
    """The next message of a kind, or None when none comes."""
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        line.settimeout(left)
        try:
            # Control frames too, or the server's pings would begin the waiting anew each time.
            opcode, data = line.recv_data(control_frame=True)
        except (websocket.WebSocketTimeoutException, websocket.WebSocketConnectionClosedException):
            return None
        if opcode == websocket.ABNF.OPCODE_CLOSE:
            return None
        message = json.loads(data) if opcode == websocket.ABNF.OPCODE_TEXT and data else {}
        if message.get("msg_type") == kind or message.get("header", {}).get("msg_type") == kind:
            return message
    return None
