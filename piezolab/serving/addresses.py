"""Under which addresses a room's network reaches this computer, and what its browsers may call it."""

import ipaddress
import re
import socket
import time
from urllib.parse import urlsplit

import psutil

from .start_problems import ServingError


def outward_address() -> str | None:
    """The IPv4 address from which this computer would talk to the world outside; nothing is sent to find out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # An address set aside for documentation (RFC 5737): the system only chooses the way to it.
            probe.connect(("198.51.100.1", 9))
            found = probe.getsockname()[0]
        except OSError:
            return None
    return None if ipaddress.ip_address(found).is_loopback else found


def own_addresses() -> list[str]:
    """This computer's IPv4 addresses in networks, the likeliest to be the room's first."""
    up = {name for name, about in psutil.net_if_stats().items() if about.isup}
    found = [
        line.address
        for name, lines in psutil.net_if_addrs().items()
        if name in up
        for line in lines
        if line.family == socket.AF_INET and not ipaddress.ip_address(line.address).is_loopback
    ]
    first = outward_address()

    def likely(address: str) -> tuple[bool, bool, bool]:
        about = ipaddress.ip_address(address)
        # 172.17 and up is where programs that run containers put networks of their own.
        inside = address.startswith("172.1") and address != first
        return address != first, about.is_link_local or inside, not about.is_private

    return sorted(dict.fromkeys(found), key=likely)


def host_of(header: str) -> str:
    """The name or address in a Host header, without its port, in small letters."""
    return re.sub(r":\d*\Z", "", header.strip().lower()).strip("[]")


def is_loopback(host: str) -> bool:
    """Whether a name or address is this computer's for itself alone."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def public_host(address: str | None) -> str | None:
    """The name in a public address, in small letters."""
    return urlsplit(address).hostname if address else None


def checked_address(address: str, option: str, *, path_too: bool = False) -> str:
    """An address as visitors open it, without a slash at its end; `option` names it in what is said.

    path_too: a path behind the host is allowed. Raises ServingError with the form that is.
    """
    path = r"(?:/[\w.~@/-]*)?" if path_too else "/?"
    form = re.compile(rf"(?i:https?)://(?:[\w.-]+|\[[0-9a-fA-F:.]+\])(?::\d{{1,5}})?{path}", re.ASCII)
    try:
        fits = form.fullmatch(address) is not None and urlsplit(address).hostname and urlsplit(address).port != 0
    except ValueError:  # such as a port above 65535
        fits = False
    if not fits:
        raise ServingError(f"{option}: {address[:100]!r} should look like http://192.168.0.7:8350")
    return address.rstrip("/")


class LocalNames:
    """The names that a request may call this computer by where it serves nobody else: its own for itself.

    Parameters
    ----------
    extra : str or None
        A further name: the public address's, where a proxy speaks for visitors.
    """

    def __init__(self, extra: str | None = None) -> None:
        self._extra = extra

    def __contains__(self, host: str) -> bool:
        return is_loopback(host) or (self._extra is not None and host == self._extra)


class OwnNames:
    """The names and addresses that a request may call this computer by.

    A page of another site that had its own name pointed at this computer would come under another one.

    Parameters
    ----------
    extra : str
        Further names, such as the public address's.
    """

    _AGAIN_S = 5.0

    def __init__(self, *extra: str | None) -> None:
        name = socket.gethostname().lower()
        short = name.split(".")[0]
        self._fixed = {"localhost", "127.0.0.1", "::1", name, short, f"{short}.local", *(e.lower() for e in extra if e)}
        self._found: set[str] = set()
        self._at = -self._AGAIN_S

    def __contains__(self, host: str) -> bool:
        if host in self._fixed or host in self._found:
            return True
        # The network may have given this computer another address since; asked now and then, not for every request.
        if time.monotonic() - self._at >= self._AGAIN_S:
            self._at = time.monotonic()
            self._found = set(own_addresses())
        return host in self._found


def household(address: str) -> str:
    """Whose address it is, as far as that can be told: an IPv4 address, or the /64 that one IPv6 line is given."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if found.version == 4:
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))
