"""The ready configuration with a real hub and proxy: each person a server of their own, and nobody another's.

Needs the network once: the hub comes from the Python package index and its proxy from the Node one, into a folder of
the test's own. That is why it stands with the benchmarks; everything else goes over loopback.
"""

import os
import re
import site
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
import requests
import websocket

from tests.serving.visitor import hear, say

pytestmark = pytest.mark.slow

CONFIG = Path(__file__).resolve().parents[2] / "piezolab" / "serving" / "hub" / "jupyterhub_config.py"
PASSWORD = "sound-of-the-marsh"
CHAPTER = "where-does-the-bass-go"


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


@pytest.fixture(scope="module")
def hub(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A hub with its proxy, as the configuration says; its address."""
    folder = tmp_path_factory.mktemp("hub")
    subprocess.run([sys.executable, "-m", "venv", str(folder / "venv")], check=True, timeout=120)
    python = folder / "venv" / "bin" / "python"
    # What is installed here is there too; only what the hub needs on top is fetched.
    packages = next((folder / "venv").glob("lib/python*/site-packages"))
    ours = [*site.getsitepackages(), str(CONFIG.parents[3])]
    (packages / "ours.pth").write_text("\n".join(ours))
    install = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "jupyterhub>=5"]
    subprocess.run(install, check=True, timeout=600)
    npm = ["npm", "install", "--silent", "--prefix", str(folder), "configurable-http-proxy@5"]
    subprocess.run(npm, check=True, timeout=600)
    port, api, inner = free_port(), free_port(), free_port()
    extra = folder / "config.py"
    extra.write_text(
        f"load_subconfig({str(CONFIG)!r})\n"
        f"c.JupyterHub.hub_port = {inner}\nc.ConfigurableHTTPProxy.api_url = 'http://127.0.0.1:{api}'\n"
        "c.JupyterHub.db_url = 'sqlite://'\n"
        # Where this environment keeps what belongs to its packages; piezolab's own environment would know.
        f"c.Spawner.environment = {{'JUPYTER_PATH': {str(Path(sys.prefix) / 'share' / 'jupyter')!r}}}\n"
    )
    bins = f"{folder / 'venv' / 'bin'}{os.pathsep}{folder / 'node_modules' / '.bin'}"
    environment = {
        **os.environ,
        "PATH": f"{bins}{os.pathsep}{os.environ['PATH']}",
        "PIEZOLAB_HUB_PASSWORD": PASSWORD,
        "PIEZOLAB_HUB_URL": f"http://127.0.0.1:{port}",
        "PIEZOLAB_QUIT_MINUTES": "0.1",
    }
    log = open(folder / "log", "w")
    process = subprocess.Popen(
        [str(python), "-m", "jupyterhub", "--config", str(extra)],
        cwd=folder, env=environment, stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
    )  # fmt: skip
    address = f"http://127.0.0.1:{port}/"
    end = time.monotonic() + 60
    while True:
        try:
            if requests.get(address + "hub/login", timeout=5).status_code == 200:
                break
        except requests.ConnectionError:
            pass
        assert time.monotonic() < end and process.poll() is None, (folder / "log").read_text()[-3000:]
        time.sleep(0.3)
    yield address
    family = psutil.Process(process.pid).children(recursive=True)
    process.terminate()
    process.wait(30)
    for child in family:
        if child.is_running():
            child.kill()
    log.close()


class Person(requests.Session):
    """Somebody with a browser."""

    def __init__(self, hub: str, name: str) -> None:
        super().__init__()
        self.hub, self.name = hub, name
        # A browser says that it goes to a page; the hub takes cookies for that only.
        self.headers.update({"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Site": "none", "Sec-Fetch-Dest": "document"})

    def sign_in(self, password: str = PASSWORD) -> requests.Response:
        """Through the hub's own form."""
        form = self.get(self.hub + "hub/login", timeout=30)
        xsrf = re.search(r'name="_xsrf" value="([^"]+)"', form.text)[1]
        said = {"username": self.name, "password": password, "_xsrf": xsrf}
        return self.post(self.hub + "hub/login?next=", data=said, timeout=90, allow_redirects=False)

    def open(self, path: str, seconds: float = 60) -> requests.Response:
        """A page, waiting for the person's server to start."""
        end = time.monotonic() + seconds
        while True:
            page = self.get(self.hub + path, timeout=60)
            if '"kernelId"' in page.text or time.monotonic() > end:
                return page
            time.sleep(0.5)

    def channel(self, page: requests.Response) -> tuple[str, websocket.WebSocket]:
        """The kernel's id and its channel."""
        kernel = re.search(r'"kernelId": "([\w-]+)"', page.text)[1]
        cookie = "; ".join(f"{c.name}={c.value}" for c in self.cookies if page.url.startswith(self.hub[:-1] + c.path))
        host = self.hub.split("/")[2]
        address = f"ws://{host}/user/{self.name}/api/kernels/{kernel}/channels?session_id=s"
        return kernel, websocket.create_connection(address, origin=f"http://{host}", cookie=cookie, timeout=20)


@pytest.fixture(scope="module")
def ann(hub) -> Person:
    """Somebody who has signed in."""
    person = Person(hub, "ann")
    assert person.sign_in().status_code == 302
    return person


@pytest.fixture(scope="module")
def page(ann) -> requests.Response:
    """A chapter on Ann's own server, with a chain."""
    begun = time.monotonic()
    page = ann.open(f"hub/user-redirect/{CHAPTER}?pickup_c=4n7")
    print(f"\nfrom signing in to a page: {time.monotonic() - begun:.1f} s")
    return page


def test_each_person_gets_a_server_of_their_own(hub, page):
    assert page.url == f"{hub}user/ann/{CHAPTER}?pickup_c=4n7"
    assert page.status_code == 200 and '"kernelId"' in page.text


def test_wrong_password_opens_nothing(hub):
    person = Person(hub, "bob")
    assert person.sign_in("guessed").status_code == 403
    assert '"kernelId"' not in person.get(hub + f"user/ann/{CHAPTER}", timeout=30).text


def test_page_answers_and_the_filter_is_on(ann, page, tmp_path):
    mark = tmp_path / "mark"
    _, line = ann.channel(page)
    code = {"code": f"open({str(mark)!r}, 'w')", "silent": False, "store_history": False}
    say(line, "execute_request", code)
    say(line, "kernel_info_request", {})
    assert hear(line, "kernel_info_reply")
    assert not mark.exists() and hear(line, "execute_reply", 0.5) is None
    line.close()


def test_signed_in_stranger_is_led_to_a_server_of_their_own(hub, ann, page):
    kernel, line = ann.channel(page)
    line.close()
    stranger = Person(hub, "cid")
    assert stranger.sign_in().status_code == 302
    theirs = stranger.open(f"user/ann/{CHAPTER}?pickup_c=4n7")
    assert theirs.url == f"{hub}user/cid/{CHAPTER}?pickup_c=4n7" and '"kernelId"' in theirs.text
    assert stranger.get(f"{hub}user/ann/api/kernels/{kernel}", timeout=20).status_code == 404
    assert stranger.post(f"{hub}user/ann/leave/{kernel}", timeout=20).status_code == 404


def test_somebody_not_signed_in_is_sent_to_the_hub(hub, page):
    nobody = Person(hub, "nobody")
    answer = nobody.get(f"{hub}user/ann/{CHAPTER}", timeout=30)
    assert "/hub/login" in answer.url and '"kernelId"' not in answer.text


@pytest.mark.parametrize(
    "wanted", ["//elsewhere.example", "http://elsewhere.example", "/\\elsewhere.example", "%2F%2Fx"]
)
def test_signing_in_leads_nowhere_else(hub, ann, page, wanted):
    answer = ann.get(f"{hub}user/ann/hub-login?next={wanted}", timeout=30, allow_redirects=False)
    assert answer.status_code == 302 and answer.headers["Location"].startswith("/user/ann/")


def test_servers_hand_no_token_to_kernels_and_end_when_unused(hub, ann, page):
    def servers() -> list[psutil.Process]:
        return [p for p in psutil.process_iter(["cmdline"]) if "piezolab.serving.hub" in (p.info["cmdline"] or [])]

    kernels = [kernel for server in servers() for kernel in server.children()]
    assert all("JUPYTERHUB_API_TOKEN" in server.environ() for server in servers())
    for kernel in kernels:
        assert not [name for name in kernel.environ() if "TOKEN" in name]
    sizes = [server.memory_full_info().pss / 2**20 for server in servers()]
    print(f"\nmemory of one person's server, without kernels: {max(sizes):.0f} MB")
    kernel = re.search(r'"kernelId": "([\w-]+)"', page.text)[1]
    assert ann.post(f"{hub}user/ann/leave/{kernel}", timeout=20).status_code == 204
    end = time.monotonic() + 60
    while servers() and time.monotonic() < end:
        time.sleep(0.5)
    assert servers() == []
