"""The warm process: it imports all that pages need once, and forks itself into kernels that start with it.

It runs as ``python -m piezolab.serving.warm`` with one socket to the server as its only other open file, so a kernel
inherits neither the server's sockets nor its secrets. It keeps to one thread and makes no widget: a widget made
here would belong to no kernel, and pages that met it hung while loading.

Over the socket the server sends a request (length, then JSON: ``argv``, ``env``, ``cwd``) and gets one byte with the
new kernel's pidfd, which names that process and never another one. The socket's end is the end of all: the server
has gone, and every kernel with it.
"""

import ast
import gc
import importlib
import json
import os
import pkgutil
import random
import signal
import socket
import struct
import sys
import threading
from collections.abc import Iterable
from pathlib import Path

import piezolab

from .bounds import bound

LENGTH = struct.Struct("!I")
#: Longest request, bytes: an environment is at most some 128 kB on the systems that can do this.
LONGEST = 2**20
#: Rooms of the package whose modules a page may import.
ROOMS = ("audio", "catalogue", "chain", "circuit", "lessons", "pages", "sheets", "studies")
#: What a kernel imports while it starts or draws its first page, and nobody names in a source of ours.
BESIDE = (
    "ipykernel.kernelapp",
    "ipykernel.ipkernel",
    "ipykernel.zmqshell",
    "ipykernel.datapub",
    "ipykernel.pickleutil",
    "IPython.core.completerlib",
    "IPython.extensions.storemagic",
    "comm",
    "ipywidgets",
    "jupyter_client.session",
    "numpy.random",
    "zmq.eventloop.zmqstream",
)


#: What the package imports for somebody's own notebook alone (`pages.curve`), or for a visitor's recording.
NOT_ON_PAGES = ("plotly", "scipy", "soundfile")


def imports_of(source: str) -> set[str]:
    """Every module that a source imports by its full name, inside functions too; none if it cannot be read."""
    names: set[str] = set()
    try:
        tree = ast.parse(source)
    except SyntaxError:
        return names
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module)
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def wanted() -> list[str]:
    """The modules to import, the package's own first."""
    found = [f"piezolab.{room}" for room in ROOMS]
    for room in ROOMS:
        root = Path(piezolab.__file__).parent / room
        found += [module.name for module in pkgutil.walk_packages([str(root)], f"piezolab.{room}.")]
    beside = set()
    for path in Path(piezolab.__file__).parent.rglob("*.py"):
        if path.parent.name != "serving":
            beside |= imports_of(path.read_text(encoding="utf-8"))
    beside = {name for name in beside if name.split(".")[0] not in ("piezolab", *NOT_ON_PAGES)}
    return [*found, *BESIDE, *sorted(beside)]


def preload(names: Iterable[str]) -> None:
    """Import what can be imported: a module that is missing is missed later, by the page that needs it."""
    for name in names:
        try:
            importlib.import_module(name)
        except Exception:  # whatever it is, the ordinary import will raise it again
            continue


def rehearse() -> None:
    """Work out what each chapter says of the default chain, and forget it: tables that are read once are then read, and
    the interpreter has the code in the form that it runs best. No widget is made, and no answer is kept."""
    try:
        from piezolab.chain import SignalChain
        from piezolab.chapters import find_chapters
        from piezolab.location import notebooks_dir
        from piezolab.pages.kit.still_svg import picture
        from piezolab.studies.kept import forget

        chain = SignalChain()
        for slug in [chapter.slug for chapter in find_chapters(notebooks_dir())]:
            chapter = importlib.import_module(f"piezolab.pages.{slug.replace('-', '_')}.chapter").CHAPTER
            view = chapter.view(chain, None, False)
            picture(view.traces, view.layout, view.narrow, view.label)
            chapter.table(chain)
        forget()
    except Exception:  # the page that needs it says it better
        return


def _read(line: socket.socket, count: int) -> bytes:
    parts = b""
    while len(parts) < count:
        part = line.recv(count - len(parts))
        if not part:
            raise EOFError
        parts += part
    return parts


def _reap(*_: object) -> None:
    """Bury kernels that have ended."""
    try:
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass
    except ChildProcessError:
        pass


def _end_with_the_server(life: int) -> None:
    """Waits until the server's end of the pipe is gone, however it went; a kernel nobody can reach is no use."""
    os.read(life, 1)
    os._exit(1)


def _become_kernel(request: dict, life: int) -> None:
    """What is left to do in the forked process: its own session, surroundings and random numbers, then the kernel."""
    os.setsid()
    bound()
    signal.set_wakeup_fd(-1)
    for name in (signal.SIGCHLD, signal.SIGINT, signal.SIGTERM):
        signal.signal(name, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_SETMASK, ())
    os.chdir(request["cwd"])
    os.environ.clear()
    os.environ.update(request["env"])
    sys.argv = request["argv"]
    # The standard generator seeds itself again after a fork; numpy's old one does not.
    random.seed()
    sys.modules["numpy.random"].seed()
    gc.enable()
    threading.Thread(target=_end_with_the_server, args=(life,), name="life", daemon=True).start()
    from ipykernel.kernelapp import launch_new_instance

    # ipywidgets registers with the kernel when it is imported, and that was before there was one: without its
    # control channel the browser asks for the state of every widget in a message of its own.
    sys.modules["ipywidgets"].register_comm_target()
    launch_new_instance(sys.argv[1:])


def serve(line: socket.socket, life: int) -> None:
    """Fork a kernel for each request until the server is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's to answer
    signal.signal(signal.SIGCHLD, _reap)
    preload(wanted())
    rehearse()
    gc.collect()
    # What is here by now stays: the collector would touch, and so copy, every page of it in every kernel.
    gc.freeze()
    line.sendall(b"r")
    while True:
        try:
            request = json.loads(_read(line, LENGTH.unpack(_read(line, LENGTH.size))[0]))
        except (EOFError, OSError):
            return
        # Not buried before its pidfd exists, or the number might already be another's.
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGCHLD})
        child = os.fork()
        if not child:
            status = 1
            try:
                line.close()
                _become_kernel(request, life)
                status = 0
            except SystemExit as end:
                status = end.code if isinstance(end.code, int) else 1
            finally:
                sys.exit(status)
        pidfd = os.pidfd_open(child)
        try:
            socket.send_fds(line, [str(child).encode()], [pidfd])
        except OSError:
            return
        finally:
            os.close(pidfd)
            signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGCHLD})


if __name__ == "__main__":
    gc.disable()
    serve(socket.socket(fileno=int(sys.argv[1])), int(sys.argv[2]))
