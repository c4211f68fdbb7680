"""Starting the server: ports, addresses, and refusals in one sentence."""

import json
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest
import requests

from piezolab.serving import ServingError, serve
from piezolab.serving.kernels import transport_for
from tests.serving.conftest import write_notebook
from tests.serving.live import LiveServer


def test_busy_port_is_stepped_over_and_said_and_the_base_url_comes_before_every_address(small_notebooks):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        server = LiveServer(small_notebooks, port=port, base_url="workshop/one")
        try:
            used = int(re.search(r":(\d+)/", server.url)[1])
            assert port < used <= port + 50
            assert server.lines[0] == f"Port {port} is busy; using {used} instead."
            assert server.lines[1] == f"piezolab is ready: http://127.0.0.1:{used}/workshop/one/"
            page = requests.get(server.url + "is-it-empty", timeout=60)
            assert page.status_code == 200 and "Path=/workshop/one/" in page.headers["Set-Cookie"]
            root = server.url.removesuffix("workshop/one/")
            assert requests.get(root, timeout=20).status_code == 404
            assert requests.get(root + "is-it-empty", timeout=20).status_code == 404
            addresses = [part.split('"')[0] for part in page.text.split('src="')[1:]]
            assert addresses and all(address.startswith("/workshop/one/static/") for address in addresses)
            moved = requests.get(server.url + "voila/tree", allow_redirects=False, timeout=20)
            assert moved.headers["Location"] == "/workshop/one/"
        finally:
            assert server.stop() == 0
        assert len(server.lines) == 2


def test_public_address_is_announced_and_answered(small_notebooks):
    server = LiveServer(small_notebooks, public_address="https://workshop.example/")
    try:
        assert server.url == "https://workshop.example/"
    finally:
        server.stop()


@pytest.mark.parametrize(
    "options, says",
    [
        ({"host": "nowhere.invalid"}, "host: 'nowhere.invalid' is no address of this computer"),
        ({"host": "203.0.113.1"}, "host: cannot listen on '203.0.113.1'"),
        ({"base_url": "/a b/"}, "base-url: '/a b/' may hold letters"),
        ({"base_url": "/<script>/"}, "base-url: '/<script>/' may hold letters"),
        (
            {"public_address": "workshop.example"},
            "public-address: 'workshop.example' should look like http://",
        ),
        (
            {"public_address": "http://workshop.example/y"},
            "public-address: 'http://workshop.example/y' should look like http://",
        ),
        ({"port": 70000}, "port: 70000 is not between 0 and 65535"),
        ({"seats": 0}, "seats: 0 is out of range; at least 1"),
    ],
)
def test_what_cannot_be_served_is_one_sentence(small_notebooks, options, says):
    with pytest.raises(ServingError) as caught:
        serve(**{"port": 0, "notebooks": small_notebooks, **options})
    assert str(caught.value).startswith(says) and "\n" not in str(caught.value)


def test_folder_without_a_start_page_is_refused(tmp_path):
    with pytest.raises(ServingError, match=r"notebooks: .* has no index\.ipynb"):
        serve(notebooks=tmp_path, port=0)


def test_broken_notebook_is_named(tmp_path):
    write_notebook(tmp_path / "index.ipynb", "# Start")
    (tmp_path / "01-torn.ipynb").write_text("{")
    with pytest.raises(ServingError, match=r"notebooks: 01-torn\.ipynb is not a readable notebook"):
        serve(notebooks=tmp_path, port=0)


def test_kernels_use_unix_sockets_where_the_path_is_short_enough():
    assert transport_for(Path("/tmp")) == "ipc"
    assert transport_for(Path("/" + "x" * 60)) == "tcp"


def test_this_users_own_settings_change_nothing(tmp_path, small_notebooks, monkeypatch):
    """A configuration file or kernel registered by the user must not reach the pages."""
    settings = {"VoilaConfiguration": {"show_tracebacks": True, "file_allowlist": [".*"]}}
    monkeypatch.setenv("JUPYTER_CONFIG_DIR", str(tmp_path))
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path))
    (tmp_path / "voila.json").write_text(json.dumps(settings))
    spec = tmp_path / "kernels" / "python3"
    spec.mkdir(parents=True)
    (spec / "kernel.json").write_text(
        json.dumps({"argv": ["false"], "language": "python", "display_name": "x"})
    )
    server = LiveServer(small_notebooks)
    try:
        page = requests.get(server.url + "does-it-break", timeout=60)
        assert page.status_code == 200 and "ZeroDivisionError" not in page.text
        assert "The chain is kept in the address" in page.text
        assert requests.get(server.url + "voila/files/notes.txt", timeout=20).status_code == 404
    finally:
        server.stop()


def loaded(imports: str) -> bool:
    """Whether a fresh Python that imports this loads the package that builds grammars."""
    code = f"import sys; {imports}; print(sys.modules.get('rfc3987_syntax') is not None)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True)
    return done.stdout.strip() == "True"


def test_server_starts_without_building_grammars():
    assert not loaded("import piezolab.serving.start")


def test_stock_server_still_builds_grammars():
    """Once this fails it does no longer, and `piezolab.serving` need not keep that package out."""
    assert loaded("import jupyter_server.serverapp")
