"""A JupyterLab of our own, for tests of what the pages are there."""

import re
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def jupyterlab(folder: Path) -> Iterator[str]:
    """A JupyterLab without a password, on a free port, over one folder; gives its address."""
    options = [
        "--no-browser",
        "--allow-root",
        "--port=0",
        "--ip=127.0.0.1",
        f"--ServerApp.root_dir={folder}",
    ]
    process = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", *options, "--IdentityProvider.token=", "--LabApp.news_url="],
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
