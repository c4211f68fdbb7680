"""A built wheel holds all that the package needs and works from any folder."""

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.repository.tree import ROOT, relative, tracked_files

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation"]
    subprocess.run([*command, "--wheel-dir", str(folder), str(ROOT)], check=True, cwd=folder)
    (built,) = folder.glob("*.whl")
    return built


def test_wheel_holds_package_data_and_notebooks(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        inside = {name for name in archive.namelist() if ".dist-info/" not in name}
    wanted = {relative(path) for path in tracked_files("piezolab")}
    wanted |= {f"piezolab/{relative(path)}" for part in ("data", "notebooks") for path in tracked_files(part)}
    assert {"piezolab/cli.py", "piezolab/location.py"} <= wanted
    assert wanted - inside == set(), "missing from the wheel"
    strangers = {name for name in inside if not name.startswith("piezolab/")}
    assert strangers == set()


def test_installed_wheel_works_from_another_folder(wheel: Path, tmp_path: Path) -> None:
    target, elsewhere = tmp_path / "installed", tmp_path / "elsewhere"
    elsewhere.mkdir()
    command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", str(target), str(wheel)]
    subprocess.run(command, check=True, cwd=elsewhere)
    code = (
        "import json, piezolab\n"
        "from piezolab.location import data_dir, notebooks_dir\n"
        "print(json.dumps([piezolab.__file__, str(data_dir()), str(notebooks_dir())]))"
    )
    environment = {**os.environ, "PYTHONPATH": str(target)}
    printed = subprocess.check_output([sys.executable, "-P", "-c", code], cwd=elsewhere, env=environment, text=True)
    package, data, notebooks = map(Path, json.loads(printed))
    assert package == target / "piezolab" / "__init__.py"
    assert data == target / "piezolab" / "data" and list(data.glob("*.toml"))
    assert notebooks == target / "piezolab" / "notebooks" and list(notebooks.glob("*.ipynb"))
