"""`piezolab figures` as another program calls it."""

import json
import os
import subprocess
import sys
from typing import Any

import pytest
from click.testing import CliRunner, Result

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.chain.parameters import all_parameters
from piezolab.circuit.errors import OperatingPointError
from piezolab.cli import main
from piezolab.studies.figures import figures

QUERY = "stage=gain&gate_r=1M&cable_m=5"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["figures", *arguments])


@pytest.mark.parametrize("link", [QUERY, f"?{QUERY}", f"https://room.example/where-does-the-bass-go?{QUERY}#top"])
def test_a_link_in_any_form(link: str) -> None:
    result = run(link)
    assert result.exit_code == 0 and result.stderr == ""
    assert json.loads(result.stdout) == figures(from_link(QUERY))


def test_no_link_is_the_default_chain() -> None:
    for arguments in ((), ("",), ("--at", "")):
        result = run(*arguments)
        assert result.exit_code == 0
        assert json.loads(result.stdout) == figures(SignalChain())


def test_at_given_frequencies() -> None:
    found = json.loads(run("--at", "20,82.4, 1 kHz,4k2", QUERY).stdout)
    assert found["response"]["frequency_hz"] == [20, 82.4, 1000, 4200]
    assert len(found["response"]["gain_db"]) == len(found["response"]["phase_deg"]) == 4
    assert found["noise"]["density_frequency_hz"] == [20, 82.4, 1000, 4200]
    assert found == figures(from_link(QUERY), [20, 82.4, 1000, 4200])


@pytest.mark.parametrize(
    "arguments, lines",
    [
        (["gate_r=1"], ["gate resistor (gate_r): '1' is out of range; allowed is 1 kΩ to 1 GΩ."]),
        (
            ["gate_r=3m3&cabel_m=3&stage=valve"],
            [
                "gate resistor (gate_r): '3m3' would be milliohms; did you mean 3M3? Allowed is 1 kΩ to 1 GΩ.",
                "link: 'cabel_m' is not a key of a chain; did you mean 'cable_m'?",
                f"stage: 'valve' is not known; allowed is {all_parameters()['stage'].allowed}.",
            ],
        ),
        (
            ["v=9", "--at", "20,x,0.1m,1e9"],
            [
                "link format (v): '9' is not in the list; allowed is 1.",
                "--at: 'x' cannot be read; write for example 440, 4k2 or 4.2 kHz; allowed is 1 mHz to 10 MHz.",
                "--at: '0.1m' is out of range; allowed is 1 mHz to 10 MHz.",
                "--at: '1e9' is out of range; allowed is 1 mHz to 10 MHz.",
            ],
        ),
        (
            ["--at", "20,,30"],
            ["--at: '' is empty; write for example 440, 4k2 or 4.2 kHz; allowed is 1 mHz to 10 MHz."],
        ),
        (
            ["gate_r=1%0A2&<b>=%E2%80%AE"],
            [
                r"gate resistor (gate_r): '1\n2' cannot be read; write for example 4M7, 560R or 3.3 kohm; "
                "allowed is 1 kΩ to 1 GΩ.",
                "link: '<b>' is not a key of a chain; the keys are listed in the guide.",
            ],
        ),
    ],
)
def test_problems_go_to_the_error_stream_one_to_a_line(arguments: list[str], lines: list[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    found = result.stderr.splitlines()
    assert [line.replace("is not one single number", "cannot be read") for line in found] == lines


def test_a_circuit_without_a_solution_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: Any) -> None:
        raise OperatingPointError("Q1: no operating point found for 1 of 1 networks")

    monkeypatch.setattr("piezolab.studies.figures.figures", fail)
    result = run()
    assert result.exit_code == 1 and result.stdout == ""
    assert result.stderr == "Error: Q1: no operating point found for 1 of 1 networks\n"


def test_an_unknown_option_is_refused() -> None:
    assert run("--att", "20").exit_code == 2


# -- as a process of its own ------------------------------------------------------------------------------------------
def process(code: str, *, check: bool = True, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=check, env={**os.environ, **environment}
    )


def test_it_waits_for_no_library_that_it_does_not_need() -> None:
    code = (
        "import sys\n"
        "from piezolab.cli import main\n"
        "try:\n"
        "    main(['figures', 'stage=gain&resonance=4k,20,0.3', '--at', '20,1000'])\n"
        "except SystemExit as end:\n"
        "    assert not end.code\n"
        "print(sorted({name.partition('.')[0] for name in sys.modules}), file=sys.stderr)\n"
    )
    loaded = set(eval(process(code).stderr))
    assert "numpy" in loaded and "piezolab" in loaded
    assert not loaded & {"scipy", "plotly", "ipywidgets", "IPython", "voila", "tornado", "jupyter_server", "schemdraw"}
    assert not loaded & {"control", "pint", "pandas", "matplotlib", "anywidget", "traitlets", "nbformat"}


def test_it_prints_on_a_terminal_that_knows_no_other_letters() -> None:
    code = "from piezolab.cli import main\nmain(['figures', {link!r}])"
    plain = {"PYTHONIOENCODING": "ascii", "LC_ALL": "C", "PYTHONUTF8": "0"}
    json.loads(process(code.format(link=QUERY), **plain).stdout)
    refused = process(code.format(link="gate_r=1"), check=False, **plain)
    assert refused.returncode == 2 and refused.stderr.count("\n") == 1
    assert "gate resistor (gate_r): '1'" in refused.stderr


def test_bytes_that_are_no_text_do_not_break_it() -> None:
    command = [sys.executable, "-c", "from piezolab.cli import main\nmain()", "figures", b"gate_r=\xff\xfe&\xff=1"]
    refused = subprocess.run(command, capture_output=True)
    assert refused.returncode == 2 and refused.stderr.count(b"\n") == 2 and b"Traceback" not in refused.stderr
