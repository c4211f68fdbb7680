import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from piezolab import serving
from piezolab.cli import main


def test_help_lists_serve() -> None:
    result = CliRunner().invoke(main, ["--help"])
    assert result.exit_code == 0
    assert "serve" in result.output


def test_serve_refuses_a_port_out_of_range() -> None:
    result = CliRunner().invoke(main, ["serve", "--port", "70000"])
    assert result.exit_code == 2
    assert "70000" in result.output and "0<=x<=65535" in result.output


def test_serve_hands_its_options_on(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: dict[str, object] = {}
    monkeypatch.setattr(serving, "serve", lambda **options: seen.update(options))
    arguments = ["serve", "--host", "192.168.0.7", "--port", "0", "--no-browser", "--base-url", "/lab/"]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    assert seen == {"host": "192.168.0.7", "port": 0, "open_browser": False, "base_url": "/lab/"}


def test_serve_says_in_one_line_why_it_cannot_start(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**_options: object) -> None:
        raise serving.ServingError("port 80 may not be used by this account")

    monkeypatch.setattr(serving, "serve", refuse)
    result = CliRunner().invoke(main, ["serve"])
    assert result.exit_code == 1
    assert result.output == "Error: port 80 may not be used by this account\n"


def test_command_line_itself_imports_nothing_heavy() -> None:
    """A quick answer on the command line must not wait for widgets, plots or a web server."""
    code = "import json, sys; import piezolab.cli; print(json.dumps(sorted(sys.modules)))"
    modules = json.loads(subprocess.check_output([sys.executable, "-c", code], text=True))
    heavy = {"numpy", "scipy", "plotly", "ipywidgets", "voila", "tornado", "jupyter_server"}
    assert "click" in modules
    assert not heavy & set(modules)
