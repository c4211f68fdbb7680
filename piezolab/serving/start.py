"""Starting and stopping: the port, the ready line, the signals, the clean-up."""

import asyncio
import logging
import os
import signal
import socket
import time
import webbrowser
from collections.abc import Container
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tornado.ioloop import PeriodicCallback
from tornado.iostream import StreamClosedError
from tornado.websocket import WebSocketClosedError

from ..chapters import INDEX_FILE, ChapterFile, find_chapters, notebook_title
from ..lessons.shelf import IN_A_ROOM, ROOM_LESSON
from ..location import notebooks_dir
from .addresses import LocalNames, OwnNames, checked_address, is_loopback, own_addresses, public_host
from .app import MESSAGE_LIMIT, Server, log
from .forking import WarmProcess, WarmProvisioner, can_fork
from .kept_room import KeptRoom, NotKept, usual_folder
from .kernels import KernelGone, without_secrets
from .limits import CountingServer, more_files
from .own_folder import own_folder
from .own_port import also_here, listen
from .record import say, write_to
from .room import Room, room_lesson
from .seats import Seats
from .start_problems import ServingError
from .try_out import RoomTrial, first_page
from .watch import needed, watch

if TYPE_CHECKING:
    from ..lessons.lesson import Lesson
    from .hub.member import Member

_SWEEP_MS, _KEEP_MS = 2000, 1000
#: Seconds in which a request's body has to arrive.
_BODY_S = 10


async def _serve(
    server: Server,
    sockets: list[socket.socket],
    announce: str,
    open_browser: bool,
    warm: bool,
    trial: RoomTrial,
) -> bool:
    """Answer until told to stop, or until the room has been tried: whether that went well."""
    asyncio.get_running_loop().set_exception_handler(_left_over)
    stop = asyncio.Event()
    _stop_on_signals(stop)
    more_files()
    http = CountingServer(
        server.application(),
        # A forwarded address counts only where whoever started this says that there is a proxy that writes it.
        xheaders=server.behind_proxy,
        max_body_size=64 * 1024,
        max_buffer_size=MESSAGE_LIMIT + 2**20,
        # Slow requests, headers or bodies, do not hold their connection for long.
        idle_connection_timeout=30,
        body_timeout=_BODY_S,
        most_of_one=1500 if server.one_speaks_for_all else 400,
    )
    kernels = server.kernel_manager
    sweep = PeriodicCallback(lambda: server.seats.sweep(kernels.process_alive, kernels.free), _SWEEP_MS)
    sweep.start()
    if server.room is not None:
        PeriodicCallback(server.room.keep, _KEEP_MS).start()
    warming = await _warm_up(server.room is not None) if warm and can_fork() else None
    watching = asyncio.create_task(watch(kernels))
    http.add_sockets(sockets)
    say(f"piezolab is ready: {announce}")
    if server.room is not None:
        _say_room(server.room)
    if open_browser:
        _open_browser(announce)
    if server.member is not None:
        asyncio.create_task(_stop_unused(server, stop))
    stopped = asyncio.create_task(stop.wait())
    trying = asyncio.create_task(trial.run(announce, server.app.settings)) if trial.count else stopped
    await asyncio.wait({stopped, trying}, return_when=asyncio.FIRST_COMPLETED)
    went_well = trying.done() and trying.result()
    trying.cancel()
    sweep.stop()
    watching.cancel()
    if server.room is not None:
        server.room.keep()
    http.stop()
    await asyncio.gather(*map(kernels.free, list(kernels.list_kernel_ids())), return_exceptions=True)
    await http.close_all_connections()
    if warming:
        warming.stop()
    return went_well


def _left_over(_: asyncio.AbstractEventLoop, about: dict[str, Any]) -> None:
    """What failed and nobody waits for: a line that has closed, a kernel that has ended, are no errors here."""
    problem = about.get("exception")
    ended = isinstance(problem, StreamClosedError | WebSocketClosedError | KernelGone)
    log.log(logging.INFO if ended else logging.ERROR, "left over: %s", about.get("message"), exc_info=problem)


async def _stop_unused(server: Server, stop: asyncio.Event) -> None:
    """Stop when nobody has had a page open for so long that the hub may as well start it anew."""
    used = time.monotonic()
    while time.monotonic() - used < server.member.quit_after_s:
        await asyncio.sleep(1)
        if len(server.seats):
            used = time.monotonic()
    stop.set()


async def _warm_up(wait: bool) -> WarmProcess:
    """Start the process that kernels are forked from; until it is warm, they start the ordinary way.

    wait: a room comes all at once, so better a server that answers some seconds later, and then quickly. Who comes
    meanwhile is connected and waits.
    """
    warm = WarmProvisioner.warm = WarmProcess(without_secrets(dict(os.environ)))
    starting = asyncio.create_task(warm.start())
    if wait:
        await asyncio.wait({starting}, timeout=60)
    PeriodicCallback(warm.look_after, 1000).start()
    return warm


def _say_room(room: Room) -> None:
    say(f"In the room, open: {room.link}")
    say(room.qr_text())
    say(f"For the projector: {room.address}projector   To print: {room.address}room-sheet")
    say(f"For you alone: {room.address}teacher#{room.desk.secret}")
    say(f"{needed(room.seats.limit)} Stop with Ctrl-C.")


def _stop_on_signals(stop: asyncio.Event) -> None:
    loop = asyncio.get_running_loop()
    for name in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(name, stop.set)
        except NotImplementedError:  # Windows
            signal.signal(name, lambda *_: loop.call_soon_threadsafe(stop.set))


def _open_browser(address: str) -> None:
    try:
        browser = webbrowser.get()
    except webbrowser.Error:
        return  # nothing to open it with: the address has been printed
    asyncio.get_running_loop().run_in_executor(None, browser.open, address)


def _base_url(text: str) -> str:
    path = "/" + text.strip("/") + "/" if text.strip("/") else "/"
    if any(not (c.isalnum() or c in "/-_.~@") for c in path):
        raise ServingError(f"base-url: {text!r} may hold letters, digits and / - _ . ~ @ only")
    return path


def _pages(folder: Path) -> dict[str, ChapterFile]:
    """The start page under "" and the chapters under their address words."""
    index = folder / INDEX_FILE
    if not index.is_file():
        raise ServingError(f"notebooks: {folder} has no {INDEX_FILE}")
    try:
        start = ChapterFile("", INDEX_FILE, notebook_title(index))
        return {"": start, **{chapter.slug: chapter for chapter in find_chapters(folder)}}
    except ValueError as problem:
        raise ServingError(f"notebooks: {problem}") from problem


def run(
    *,
    host: str | None,
    port: int,
    seats: int,
    open_browser: bool = False,
    base_url: str = "/",
    notebooks: Path | str | None = None,
    public_address: str | None = None,
    behind_proxy: bool = False,
    verbose: bool = False,
    room: bool = False,
    lesson: str | None = None,
    idle_minutes: float | None = None,
    warm: bool = True,
    log_file: Path | str | None = None,
    visitors: int | None = None,
    member: "Member | None" = None,
) -> bool:
    """Serve until interrupted; see `piezolab.serving.serve`. member: whose server it is, behind a hub."""
    write_to(log_file)
    log.setLevel(logging.INFO if verbose else logging.WARNING)
    base = _base_url(base_url)
    public_address = public_address and checked_address(public_address, "public-address")
    _check_numbers(seats, idle_minutes, visitors)
    chosen_lesson = room_lesson(lesson)
    folder = Path(notebooks).resolve() if notebooks else notebooks_dir().resolve()
    pages = _pages(folder)
    host = host or (_room_host() if room else "127.0.0.1")
    sockets, chosen = _sockets(host, port, room)
    if member is not None and chosen != port:
        raise ServingError(f"port: {port} is taken, and the hub waits at no other")
    here = f"http://{_shown(host, room)}:{chosen}"
    announce = (public_address or here) + base
    holders = Seats(seats, idle_s=idle_minutes * 60 if idle_minutes else None)
    # Nobody comes back to a port that was any free one, and whom a trial lets come is nobody.
    kept = _kept(f"{host} {chosen} {base}") if room and port and visitors is None else None
    the_room = Room(announce, chosen_lesson, holders, kept) if room else None
    _tell_kernels(chosen_lesson if room else None, room)
    with own_folder() as connections:
        # No history, start-up files or settings of this user's own Python shell in a visitor's kernel.
        os.environ["IPYTHONDIR"] = str(connections / "ipython")
        server = Server(
            folder=folder,
            pages=pages,
            connections=connections,
            base_url=base,
            port=chosen,
            names=_names(host, room, public_address, member is not None),
            public_address=public_address,
            behind_proxy=behind_proxy,
            seats=holders,
            room=the_room,
            member=member,
            log_level=logging.INFO if verbose else logging.ERROR,
            **({"cookie_secret": kept.secret} if kept else {}),
        )
        trial = RoomTrial(visitors, first_page(chosen_lesson, pages), here + base)
        return asyncio.run(_serve(server, sockets, announce, open_browser, warm, trial))


def _sockets(host: str, port: int, room: bool) -> tuple[list[socket.socket], int]:
    """What is listened on, and the port."""
    sockets, chosen = listen(host, port)
    if room and not is_loopback(host) and host not in _EVERYWHERE:
        # The teacher's own browser may say "localhost".
        sockets += also_here(chosen)
    return sockets, chosen


def _kept(address: str) -> KeptRoom | None:
    """What this room keeps over a restart; nothing, and a line that says so, where that is not safe."""
    try:
        return KeptRoom(usual_folder(), address)
    except NotKept as problem:
        say(f"After a restart visitors would be new ones, since nothing is kept: {problem}")
        return None


def _tell_kernels(lesson: "Lesson | None", room: bool) -> None:
    """Let pages know whether this is a room, and which lesson it works on."""
    os.environ[ROOM_LESSON] = lesson.name if lesson else ""
    os.environ[IN_A_ROOM] = "yes" if room else ""


def _names(host: str, room: bool, public_address: str | None, hub: bool) -> Container[str] | None:
    """What requests may call this computer; None is anything."""
    public = public_host(public_address)
    if room:
        return OwnNames(host, _shown(host, room), public)
    # Behind a hub visitors come by its name, and are known by having signed in.
    return LocalNames(public) if is_loopback(host) and not hub else None


def _check_numbers(seats: int, idle_minutes: float | None, visitors: int | None) -> None:
    if seats < 1:
        raise ServingError(f"seats: {seats} is out of range; at least 1")
    if idle_minutes is not None and not 0.05 <= idle_minutes <= 1440:
        raise ServingError(f"idle-minutes: {idle_minutes:g} is out of range; 0.05 to 1440")
    if visitors is not None and not 1 <= visitors <= seats:
        raise ServingError(f"try: {visitors} is out of range; 1 to {seats}, the number of seats (--seats)")


_EVERYWHERE = ("", "0.0.0.0", "::")


def _room_host() -> str:
    """The address to listen on in a room."""
    found = own_addresses()
    if not found:
        raise ServingError("room: this computer is in no network; join the room's Wi-Fi or start a hotspot first")
    if len(found) > 1:
        others = ", ".join(found[1:])
        say(f"This computer is in several networks. Using {found[0]}; for another say --host with one of: {others}")
    return found[0]


def _shown(host: str, room: bool) -> str:
    """The host as it stands in an address."""
    if host in _EVERYWHERE:
        host = next(iter(own_addresses()), "127.0.0.1") if room else "127.0.0.1"
    return f"[{host}]" if ":" in host else host
