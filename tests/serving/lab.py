"""A JupyterLab of our own, for tests of what the pages are there."""

import re
import shutil
import subprocess
import sysconfig
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: As the guide says it, in the environment's own folder of programs.
COMMAND = ("jupyter", "lab", "notebooks/")


@contextmanager
def jupyterlab(above: Path) -> Iterator[str]:
    """A JupyterLab without a password, on a free port, over the folder `notebooks` in one; gives its address."""
    options = [
        "--no-browser",
        "--allow-root",
        "--port=0",
        "--ip=127.0.0.1",
        "--IdentityProvider.token=",
        "--LabApp.news_url=",
    ]
    program = shutil.which(COMMAND[0], path=sysconfig.get_path("scripts"))
    process = subprocess.Popen(
        [program, *COMMAND[1:], *options],
        cwd=above,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    address = ""
    for line in process.stderr:
        found = re.search(r"(http\S+:\d+)/lab", line)
        if found:
            address = found[1]
            break
    assert address
    end = time.monotonic() + 90
    while time.monotonic() < end:
        try:
            urllib.request.urlopen(address + "/api", timeout=5).read()
            break
        except OSError:
            time.sleep(0.1)
    yield address
    process.terminate()
    process.wait(60)
    process.stderr.close()
