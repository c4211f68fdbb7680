"""The commands of the guides, and how a test run treats what may be missing or is not wanted."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.repository.tree import ROOT

SAMPLE = """
import pytest

@pytest.mark.browser
def test_page(): pass

def test_sum(): assert 1 + 1 == 2
"""


@pytest.fixture
def run(tmp_path: Path):
    """Run pytest in a small project that has our settings, on a computer without any browser."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / "tests" / "benchmarks").mkdir(parents=True)
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path / "tests")
    (tmp_path / "tests" / "test_sample.py").write_text(SAMPLE)
    (tmp_path / "tests" / "benchmarks" / "test_speed.py").write_text("def test_ratio(): pass")
    (tmp_path / "empty").mkdir()

    def pytest_run(*arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
        ours = {"CI", "PIEZOLAB_CHROMIUM"} | {key for key in os.environ if key.startswith("PYTEST_")}
        environment = {key: value for key, value in os.environ.items() if key not in ours}
        environment |= {"PATH": str(tmp_path / "empty"), **variables}
        command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-q", *arguments]
        return subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True)

    return pytest_run


@pytest.mark.parametrize("processes", [(), ("-n", "2")])
def test_browser_tests_are_left_out_aloud_where_there_is_no_browser(run, processes) -> None:
    result = run(*processes)
    assert result.returncode == 0
    assert "1 browser tests left out: no chromium on this computer" in result.stdout
    # Of several processes the one that sums up counts only what it was sent.
    assert "1 passed in" in result.stdout if processes else "1 passed, 1 deselected" in result.stdout


@pytest.mark.parametrize("processes", [(), ("-n", "2")])
def test_a_missing_browser_is_an_error_in_continuous_integration(run, processes) -> None:
    result = run(*processes, CI="true")
    assert result.returncode == pytest.ExitCode.USAGE_ERROR
    assert "browser tests are compulsory" in result.stderr


def test_a_browser_that_is_there_is_used(run) -> None:
    result = run(CI="true", PIEZOLAB_CHROMIUM=sys.executable)
    assert result.returncode == 0
    assert "2 passed" in result.stdout


def test_benchmarks_run_only_when_asked_for(run) -> None:
    assert "1 passed" in run("tests/benchmarks").stdout
    assert "test_speed" not in run("--collect-only").stdout


def test_every_make_target_in_the_guides_exists() -> None:
    guides = "".join((ROOT / name).read_text("utf-8") for name in ("README.md", "DEVELOPERS.md"))
    named = set(re.findall(r"(?m)(?:^|`)make ([a-z]+)", guides))
    assert {"serve", "test"} <= named
    targets = set(re.findall(r"(?m)^([a-z]+):", (ROOT / "Makefile").read_text("utf-8")))
    assert named - targets == set()


def test_readme_opens_with_the_job_a_picture_and_two_commands() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    first_block = re.search(r"(?s)```\n(.*?)```", text)
    assert first_block is not None
    assert first_block[1].split("\n")[:-1] == ["make serve", "make test"]
    title, job, picture, *_ = re.split(r"\n{2,}", text[: first_block.start()])
    assert title == "# piezolab" and job.startswith("You have") and picture.startswith("![")
