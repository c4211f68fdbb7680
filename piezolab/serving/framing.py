"""How kernel messages lie in a binary websocket message, read without trusting what they say of themselves.

Both framings begin with the number of offsets that follow. The stock readers believe it: eight bytes from any visitor
that name some 10^18 offsets would keep the server busy for ever.
"""

import json
from typing import Any

#: The newer framing's name as a websocket subprotocol; without it, messages lie as in the older one.
V1 = "v1.kernel.websocket.jupyter.org"
#: A message has six offsets or so, and one more for each of its buffers.
MOST_OFFSETS = 2000


def offsets(message: bytes, v1: bool) -> list[int] | None:
    """Where the parts of a message begin; None where the message is not framed like one."""
    size, order = (8, "little") if v1 else (4, "big")
    count = int.from_bytes(message[:size], order)
    if not 1 <= count <= MOST_OFFSETS or size * (count + 1) > len(message):
        return None
    found = [int.from_bytes(message[size * n : size * (n + 1)], order) for n in range(1, count + 1)]
    rising = all(one <= other for one, other in zip(found, found[1:], strict=False))
    if not rising or found[0] < size * (count + 1) or found[-1] > len(message) or (v1 and count < 6):
        return None
    return found


def header_and_content(message: bytes, v1: bool) -> tuple[dict[str, Any], dict[str, Any]]:
    """A message's header and content, {} where they cannot be read."""
    header, _, content = three_parts(message, v1)
    return header, content


def three_parts(message: bytes, v1: bool) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """A message's header, its parent's header and its content, {} where they cannot be read."""
    found = offsets(message, v1)
    try:
        if found is None:
            return {}, {}, {}
        if v1:
            header, parent, content = (json.loads(message[found[n] : found[n + 1]]) for n in (1, 2, 4))
        else:
            whole = _table(json.loads(message[found[0] : found[1] if len(found) > 1 else len(message)]))
            header, parent, content = (whole.get(key) for key in ("header", "parent_header", "content"))
        return _table(header), _table(parent), _table(content)
    except (ValueError, RecursionError):
        return {}, {}, {}


def _table(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}
