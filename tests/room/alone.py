"""Runs a command where there is no network but this computer's own: python alone.py COMMAND...

Wants to be started by ``unshare --net``, which gives it a network of its own with nothing in it, not even loopback.
"""

import fcntl
import os
import socket
import struct
import sys

GET_FLAGS, SET_FLAGS, UP = 0x8913, 0x8914, 1


def loopback(up: bool) -> None:
    """Switch this network's loopback on or off (Linux's SIOCSIFFLAGS)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        asked = struct.pack("16sh14x", b"lo", 0)
        flags = struct.unpack("16sh14x", fcntl.ioctl(line, GET_FLAGS, asked))[1]
        fcntl.ioctl(line, SET_FLAGS, struct.pack("16sh14x", b"lo", flags | UP if up else flags & ~UP))


def unshared(*command: str) -> list[str]:
    """The command that runs another one with a network of its own."""
    rights = [] if os.getuid() == 0 else ["--map-root-user"]
    return ["unshare", *rights, "--net", sys.executable, __file__, *command]


if __name__ == "__main__":
    loopback(True)
    os.execvp(sys.argv[1], sys.argv[1:])
