"""Modules are short enough to read at a sitting, public names are explained, files are named alike, and no name means
two things."""

import ast
import importlib
import inspect
import pkgutil
import re
import types
from pathlib import Path

import pytest

from tests.repository.tree import PACKAGE, ROOT, module_name, relative, tracked_files

MOST_LINES = 300  # of a file
MOST_LINES_OF_A_FUNCTION = 60
MOST_BRANCHES = 20
#: Analogue maths whose branches are the cases of one formula; cut apart, each piece would need the others' names.
MANY_BRANCHES = {
    "piezolab.studies.faults.multiport.solutions": "one star-mesh elimination, resistances and capacitances at once",
}
#: File names that every chapter may have; any other name stands for one file.
IN_EVERY_CHAPTER = {"__init__.py", "__main__.py", "chapter.py", "sections.py", "sentences.py", "tasks.py"}
#: Rooms whose public names must carry a docstring: they are what a contributor calls.
EXPLAINED = (
    "audio",
    "catalogue",
    "chain",
    "circuit",
    "faces",
    "lessons",
    "sheets",
    "studies",
    "location",
    "marking",
    "pitch",
    "quantity",
    "units",
)

TOP_LEVEL = {
    ".ci", ".gitignore", "DEVELOPERS.md", "LICENSE", "Makefile", "README.md", "data", "environment.yml",
    "notebooks", "piezolab", "pyproject.toml", "requirements.lock", "tests",
}  # fmt: skip
#: Test folders that mirror no room of the package.
OTHER_TESTS = {"benchmarks", "browser", "published", "repository", "room"}

_STEM = {
    ".py": re.compile(r"(?:__init__|__main__|[a-z][a-z0-9]*(?:_[a-z0-9]+)*)\Z"),
    "": re.compile(r"[a-z0-9]+(?:[-_.][a-z0-9]+)*\Z"),
}


def unexplained(module: types.ModuleType) -> list[str]:
    """Public names of a module without a docstring; a method may inherit its explanation."""
    found = [] if module.__doc__ else [module.__name__]
    for name, value in vars(module).items():
        if name.startswith("_") or getattr(value, "__module__", None) != module.__name__:
            continue
        if (inspect.isclass(value) or inspect.isfunction(value)) and not value.__doc__:
            found.append(f"{module.__name__}.{name}")
        for part, member in vars(value).items() if inspect.isclass(value) else ():
            is_method = isinstance(member, types.FunctionType | classmethod | staticmethod | property)
            explained = any(vars(base)[part].__doc__ for base in value.__mro__ if part in vars(base))
            if is_method and not part.startswith("_") and not explained:
                found.append(f"{module.__name__}.{name}.{part}")
    return found


def name_faults(path: str) -> list[str]:
    """What is wrong with a file's name, given from the top of the repository."""
    *folders, name = path.split("/")
    faults = []
    top = folders[0] if folders else name
    if top not in TOP_LEVEL:
        faults.append(f"{path}: {top!r} does not belong at the top")
    if not folders or "LICENSE" in name:
        return faults
    if folders[0] == "tests" and name.endswith(".py") and folders[1:]:
        if not (PACKAGE / folders[1]).is_dir() and folders[1] not in OTHER_TESTS:
            faults.append(f"{path}: tests/{folders[1]} mirrors no room of the package")
    stem, dot, suffix = name.partition(".")
    pattern = _STEM.get(dot + suffix, _STEM[""])
    if not pattern.match(stem) or any(not _STEM[""].match(folder.lstrip(".")) for folder in folders):
        faults.append(f"{path}: lower-case letters and digits, joined by - or _ (in Python files _) please")
    return faults


_BRANCHING = ast.If | ast.IfExp | ast.For | ast.AsyncFor | ast.While | ast.ExceptHandler | ast.match_case


def branches(function: ast.AST) -> int:
    """Ways through a function: 1, and 1 for each condition, loop, handler, case and further part of an and or an or."""
    count, waiting = 1, list(ast.iter_child_nodes(function))
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue  # counts for itself
        waiting.extend(ast.iter_child_nodes(node))
        if isinstance(node, _BRANCHING):
            count += 1
        elif isinstance(node, ast.comprehension):
            count += 1 + len(node.ifs)
        elif isinstance(node, ast.BoolOp):
            count += len(node.values) - 1
    return count


def size_faults(module: str, source: str, free: frozenset[str] = frozenset()) -> list[str]:
    """What is too long or has too many branches in a module; free: functions that may have more branches."""
    lines = len(source.splitlines())
    faults = [] if lines <= MOST_LINES else [f"{module}: {lines} lines; cut it where it changes subject"]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            name, length = f"{module}.{node.name}", node.end_lineno - node.lineno + 1
            if length > MOST_LINES_OF_A_FUNCTION:
                faults.append(f"{name}: {length} lines")
            if name not in free and branches(node) > MOST_BRANCHES:
                faults.append(f"{name}: {branches(node)} branches")
    return faults


def twice(names: list[tuple[str, str]]) -> dict[str, list[str]]:
    """Names that stand for several things: name -> where."""
    places: dict[str, list[str]] = {}
    for name, place in names:
        places.setdefault(name, []).append(place)
    return {name: found for name, found in places.items() if len(found) > 1}


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=relative)
def test_module_can_be_read_at_a_sitting(path: Path) -> None:
    assert size_faults(module_name(path), path.read_text("utf-8"), frozenset(MANY_BRANCHES)) == []


def test_what_may_have_many_branches_still_has() -> None:
    found = {
        f"{module_name(path)}.{node.name}"
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef) and branches(node) > MOST_BRANCHES
    }
    assert found == set(MANY_BRANCHES)


def test_no_file_name_and_no_class_name_twice() -> None:
    files = [(path.name, relative(path)) for path in MODULES if path.name not in IN_EVERY_CHAPTER]
    classes = [
        (node.name, relative(path))
        for path in MODULES
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    ]
    assert twice(files) == {}, "one of each pair wants another file name, after what it holds"
    assert twice(classes) == {}, "one of each pair wants another class name"


def test_checker_sees_size_and_names() -> None:
    long = "def f():\n" + "    pass\n" * 60
    assert size_faults("m", long) == ["m.f: 61 lines"]
    assert size_faults("m", "x = 1\n" * 301) == ["m: 301 lines; cut it where it changes subject"]
    tangled = "def f(a):\n    return [b for b in a if " + " and ".join(["b"] * 20) + "]"
    assert size_faults("m", tangled) == ["m.f: 22 branches"]
    assert size_faults("m", tangled, frozenset({"m.f"})) == []
    assert twice([("a", "here"), ("b", "here"), ("a", "there")]) == {"a": ["here", "there"]}


def _explained_modules() -> list[str]:
    names = []
    for room in EXPLAINED:
        path = PACKAGE / room
        if path.is_dir():
            names += [module_name(path / "__init__.py")]
            names += [found.name for found in pkgutil.walk_packages([str(path)], f"piezolab.{room}.")]
        elif path.with_suffix(".py").is_file():
            names.append(f"piezolab.{room}")
    return names


@pytest.mark.parametrize("name", _explained_modules())
def test_public_names_are_explained(name: str) -> None:
    assert unexplained(importlib.import_module(name)) == []


def test_files_are_named_alike() -> None:
    assert [fault for path in tracked_files() for fault in name_faults(relative(path))] == []


def test_checker_sees_what_is_unexplained() -> None:
    sample = types.ModuleType("sample", "Explained.")
    code = (
        "def told():\n    'yes'\ndef untold(): pass\ndef _own(): pass\n"
        "class Base:\n    'yes'\n    def run(self): 'yes'\n    def walk(self): pass\n"
        "class Heir(Base):\n    'yes'\n    def run(self): pass\n"
    )
    exec(code, vars(sample))
    assert unexplained(sample) == ["sample.untold", "sample.Base.walk"]
    assert unexplained(types.ModuleType("bare")) == ["bare"]


@pytest.mark.parametrize(
    "path", ["notes.txt", "docs/guide.md", "piezolab/Pages/x.py", "piezolab/circuit/two-port.py", "data/My Parts.toml",
             "tests/attic/test_x.py"]
)  # fmt: skip
def test_checker_sees_a_bad_name(path: str) -> None:
    assert len(name_faults(path)) == 1


def test_every_link_in_the_guides_leads_somewhere() -> None:
    broken = []
    for guide in ("README.md", "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#\s]+)", (ROOT / guide).read_text("utf-8")):
            if "://" not in target and not (ROOT / target).exists():
                broken.append(f"{guide}: {target}")
    assert broken == []
