import json
import subprocess
import sys

from click.testing import CliRunner

from piezolab.cli import main


def test_help_lists_serve() -> None:
    result = CliRunner().invoke(main, ["--help"])
    assert result.exit_code == 0
    assert "serve" in result.output


def test_serve_refuses_a_port_out_of_range() -> None:
    result = CliRunner().invoke(main, ["serve", "--port", "70000"])
    assert result.exit_code == 2
    assert "70000" in result.output and "0<=x<=65535" in result.output


def test_command_line_itself_imports_nothing_heavy() -> None:
    """A quick answer on the command line must not wait for widgets, plots or a web server."""
    code = "import json, sys; import piezolab.cli; print(json.dumps(sorted(sys.modules)))"
    modules = json.loads(subprocess.check_output([sys.executable, "-c", code], text=True))
    heavy = {"numpy", "scipy", "plotly", "ipywidgets", "voila", "tornado", "jupyter_server"}
    assert "click" in modules
    assert not heavy & set(modules)
