"""With the network removed: the start that was prepared at home, and a room that loses its network for a while."""

import os
import subprocess
import sys
from pathlib import Path

from tests.room.alone import unshared

ROOT = Path(__file__).resolve().parents[2]

# Runs where there is nothing but loopback: starts the server as at home, comes in as a phone does.
_LESSON = """
import re, subprocess, sys, time
import requests
from types import SimpleNamespace
from tests.room.conftest import Guest
from tests.serving.visitor import hear, say

begun = time.monotonic()
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
said = ""
for line in process.stdout:
    said += line
    found = re.search(r"piezolab is ready: (\\S+)", line)
    if found:
        break
else:
    sys.exit("it did not start: " + said)
print("started in", round(time.monotonic() - begun, 1))
guest = Guest(SimpleNamespace(url=found[1]))
kernel = guest.come_in("where-does-the-bass-go?lesson=where-the-bass-goes")
say(guest.lines[kernel], "kernel_info_request", {})
assert hear(guest.lines[kernel], "kernel_info_reply")
assert requests.get(found[1] + "projector", timeout=20).status_code == 200
print("a lesson was opened; pip" if "pip" in said else "a lesson was opened")
process.terminate()
process.wait(20)
"""

# A server, a page on it, and the network taken away and given back.
_CUT = """
import sys, time
import requests
from pathlib import Path
from tests.room.alone import loopback
from tests.room.conftest import Guest, open_room
from tests.serving.visitor import hear, say

server = open_room(Path(sys.argv[1]), seats=2)
guest = Guest(server)
kernel = guest.come_in("does-it-slide")
loopback(False)
time.sleep(float(sys.argv[2]))
loopback(True)
# The page connects again by itself, as the front end does.
end = time.monotonic() + 30
while True:
    try:
        line = guest.channel(kernel)
        break
    except Exception:
        if time.monotonic() > end:
            raise
        time.sleep(0.5)
say(line, "kernel_info_request", {})
assert hear(line, "kernel_info_reply"), "the kernel is not there any more"
print("the page goes on with its own kernel")
assert guest.leave(kernel) == 204
server.stop()
"""


def run_alone(code: str, *arguments: str, seconds: float = 120) -> str:
    """Run code where there is no network but loopback; what it printed."""
    command = unshared(sys.executable, "-c", code, *arguments)
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=seconds
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def prepared(folder: Path) -> Path:
    """An environment as ``make serve`` leaves it behind at home: its stamp is newer than what it was made from."""
    bin_folder = folder / "bin"
    bin_folder.mkdir(parents=True)
    for name, line in (("python", f'exec "{sys.executable}" "$@"'), ("piezolab", "")):
        line = line or f'exec "{sys.executable}" -c "from piezolab.cli import main; main()" "$@"'
        (bin_folder / name).write_text(f"#!/bin/sh\n{line}\n")
        (bin_folder / name).chmod(0o755)
    (folder / ".ready").touch()
    return folder


def test_make_serve_starts_a_room_without_a_network(tmp_path):
    options = "--room --host 127.0.0.1 --port 0 --no-browser --lesson where-the-bass-goes"
    venv = prepared(tmp_path / "venv")
    said = run_alone(_LESSON, "make", "serve", f"VENV={venv}", f"ARGS={options}")
    assert "a lesson was opened\n" in said
    assert float(said.split("started in ")[1].split()[0]) < 30


def test_make_installs_only_when_its_stamp_is_old(tmp_path):
    venv = prepared(tmp_path / "venv")
    ask = {"args": ["make", "-n", "serve", f"VENV={venv}"], "cwd": ROOT, "timeout": 30}
    again = subprocess.run(**ask, capture_output=True, text=True)
    assert "pip" not in again.stdout and "piezolab serve" in again.stdout
    os.utime(venv / ".ready", (1, 1))
    stale = subprocess.run(**ask, capture_output=True, text=True)
    assert "pip install" in stale.stdout


def test_network_that_goes_away_for_a_while_takes_no_page_with_it(room_notebooks):
    said = run_alone(_CUT, str(room_notebooks), os.environ.get("PIEZOLAB_CUT_S", "12"))
    assert "goes on with its own kernel" in said
