"""pyproject.toml, requirements.lock, environment.yml and the environment that runs the tests say the same."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name

from tests.repository.tree import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
LOCK_LINE = re.compile(r"(?P<name>[a-z0-9][a-z0-9._-]*)==(?P<version>[^ ;]+)(?: ; (?P<marker>.+))?\Z")


def pins_in(text: str) -> list[Requirement]:
    """The requirements of a lock file. Raises ValueError at a line that does not pin one version."""
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    for line in lines:
        if not LOCK_LINE.match(line):
            raise ValueError(f"not a pin: {line!r}")
    return [Requirement(line) for line in lines]


def drift(wanted: list[Requirement], pins: list[Requirement]) -> list[str]:
    """Requirements whose version range no pin meets."""
    found = []
    for requirement in wanted:
        versions = [next(iter(pin.specifier)).version for pin in pins if _same(pin, requirement)]
        if not versions:
            found.append(f"{requirement.name} has no pin")
        found += [f"{requirement} but pinned {v}" for v in versions if v not in requirement.specifier]
    return found


def _same(one: Requirement, other: Requirement) -> bool:
    return canonicalize_name(one.name) == canonicalize_name(other.name)


def _listed(group: str | None = None) -> list[Requirement]:
    lines = PROJECT["optional-dependencies"][group] if group else PROJECT["dependencies"]
    return [Requirement(line) for line in lines]


PINS = pins_in((ROOT / "requirements.lock").read_text("utf-8"))
CONDA = yaml.safe_load((ROOT / "environment.yml").read_text("utf-8"))
CONDA_PIP = next(entry["pip"] for entry in CONDA["dependencies"] if isinstance(entry, dict))


def test_lock_meets_every_requirement() -> None:
    assert drift(_listed() + _listed("test") + _listed("lock"), PINS) == []


def test_environment_lists_the_same_requirements() -> None:
    conda = {str(Requirement(line)) for line in CONDA_PIP if not line.startswith("--")}
    assert conda == {str(requirement) for requirement in _listed()}


def test_environment_takes_its_versions_from_the_lock_and_installs_the_package() -> None:
    assert [line for line in CONDA_PIP if line.startswith("--")] == ["--constraint requirements.lock", "--editable ."]


def test_one_oldest_python_everywhere() -> None:
    oldest = PROJECT["requires-python"].removeprefix(">=")
    assert f"Python {oldest} or newer" in (ROOT / "README.md").read_text("utf-8")
    assert f"({oldest.replace('.', ', ')})" in (ROOT / "Makefile").read_text("utf-8")
    conda = next(line for line in CONDA["dependencies"] if isinstance(line, str) and line.startswith("python"))
    versions = SpecifierSet(conda.removeprefix("python"))
    older = f"3.{int(oldest.split('.')[1]) - 1}"
    assert f"{oldest}.0" in versions and f"{older}.9" not in versions


def test_running_environment_is_the_locked_one() -> None:
    """What was tested is what is pinned: every locked package that is installed has the locked version."""
    wrong = []
    for pin in PINS:
        if pin.marker and not pin.marker.evaluate():
            continue
        try:
            installed = distribution(pin.name).version
        except PackageNotFoundError:
            continue
        if installed not in pin.specifier:
            wrong.append(f"{pin} but {installed} runs")
    assert wrong == []


def test_lock_is_complete() -> None:
    """Whatever a package of ours pulls in, on this system, is pinned too."""
    pinned = {canonicalize_name(pin.name) for pin in PINS}
    seen: set[str] = set()
    waiting = _listed() + _listed("test")
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        key = f"{name}{sorted(requirement.extras)}"
        if key in seen:
            continue
        seen.add(key)
        assert name in pinned, f"{name} is not in requirements.lock: make lock"
        for line in distribution(name).requires or []:
            further = Requirement(line)
            extras = requirement.extras or {""}
            if further.marker is None or any(further.marker.evaluate({"extra": extra}) for extra in extras):
                waiting.append(further)
    assert len(seen) > len(PROJECT["dependencies"])


@pytest.mark.parametrize("line", ["numpy>=2", "numpy", "--hash=x", "numpy @ file:x", "-e ."])
def test_checker_sees_a_line_that_pins_nothing(line: str) -> None:
    with pytest.raises(ValueError, match="not a pin"):
        pins_in(f"# heading\nattrs==26.1.0\n{line}\n")


def test_checker_sees_drift() -> None:
    pins = pins_in("numpy==2.4.6\npint==0.25.3 ; sys_platform == 'linux'\n")
    wanted = [Requirement(line) for line in ("numpy>=3", "Pint>=0.24", "scipy")]
    assert drift(wanted, pins) == ["numpy>=3 but pinned 2.4.6", "scipy has no pin"]
