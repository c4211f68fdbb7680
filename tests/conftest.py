"""Settings that every test shares: hypothesis profiles, benchmarks on request, and the browser."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

COMPULSORY = os.environ.get("CI", "").lower() in {"1", "true", "yes"}

# No deadline anywhere: how fast something is belongs to tests/benchmarks/, as a ratio.
_quiet = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("dev", max_examples=50, **_quiet)
settings.register_profile("ci", max_examples=50, derandomize=True, print_blob=True, **_quiet)
settings.register_profile("thorough", max_examples=2000, **_quiet)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if COMPULSORY else "dev"))

#: Where a computer of this kind keeps its type faces.
_FACES = Path("/usr/share/fonts")

#: Arguments that keep a headless Chromium to itself: no sandbox for root, no calls to outside hosts.
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--no-first-run",
    "--disable-component-update",
    "--disable-sync",
]


def find_chromium() -> str | None:
    """Path of a Chromium on this computer: PIEZOLAB_CHROMIUM if set, else the first found on the path."""
    named = os.environ.get("PIEZOLAB_CHROMIUM")
    if named:
        return shutil.which(named)
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)


def pytest_ignore_collect(collection_path: Any, config: pytest.Config) -> bool | None:
    """Leave tests/benchmarks/ out unless it is asked for by name: a test run times nothing."""
    asked = any("benchmarks" in argument for argument in config.invocation_params.args)
    return True if "benchmarks" in collection_path.parts and not asked else None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Without a Chromium, leave the browser tests out and say so; with CI=true, refuse to run."""
    waiting = [item for item in items if item.get_closest_marker("browser")]
    if not waiting or find_chromium():
        return
    if COMPULSORY:
        raise pytest.UsageError(_COMPULSORY)
    config.hook.pytest_deselected(items=waiting)
    items[:] = [item for item in items if item not in waiting]
    config.stash[_LEFT_OUT] = len(waiting)
    if hasattr(config, "workeroutput"):
        config.workeroutput["left_out"] = len(waiting)


_COMPULSORY = "browser tests are compulsory with CI=true: install chromium"
_LEFT_OUT = pytest.StashKey[int]()


def pytest_sessionstart(session: pytest.Session) -> None:
    """With several processes the one that the user started collects nothing: it refuses before it starts the others."""
    if session.config.getoption("numprocesses", None) and COMPULSORY and not find_chromium():
        raise pytest.UsageError(_COMPULSORY)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Every process of several finds the same browser tests."""
    node.config.stash[_LEFT_OUT] = getattr(node, "workeroutput", {}).get("left_out", 0)


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Say how many browser tests were left out."""
    count = config.stash.get(_LEFT_OUT, 0)
    if count:
        terminalreporter.write_line(f"{count} browser tests left out: no chromium on this computer")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A headless Chromium driven by playwright; mark the test with ``pytest.mark.browser``."""
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=20_000)
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def bare_browser(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The same browser on a computer whose only face is a typewriter's: whatever is not set in ours looks odd.

    With no face at all Chromium sometimes fails to read a document's own, and no computer is like that.
    """
    folder = tmp_path_factory.mktemp("faces")
    (folder / "only").mkdir()
    for path in sorted(_FACES.rglob("*Mono*.ttf"), key=lambda path: "Italic" not in path.name)[:1]:
        shutil.copy(path, folder / "only")
    told = folder / "fonts.conf"
    told.write_text(
        f"<fontconfig><dir>{folder / 'only'}</dir><cachedir>{folder / 'cache'}</cachedir></fontconfig>", "utf-8"
    )
    environment = {**os.environ, "FONTCONFIG_FILE": str(told)}
    chromium = browser.browser_type.launch(
        executable_path=find_chromium(), args=CHROMIUM_ARGUMENTS, env=environment
    )
    yield chromium
    chromium.close()
