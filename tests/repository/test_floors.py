"""Each floor imports only from those below it; libraries stay on the floor that is meant to know them."""

import ast
import json
import re
import sys
import tomllib
from graphlib import CycleError, TopologicalSorter
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.repository.tree import PACKAGE, ROOT, module_name, relative
from tests.serving.lab import COMMAND
from tests.test_public_names import example

#: From the top down. Rooms on one floor do not import each other.
FLOORS = (
    {"__main__"},
    {"cli"},
    {"commands"},
    {"serving"},
    {"pages"},
    {"sheets"},
    {"lessons"},
    {"studies"},
    {"chain"},
    {"circuit", "catalogue", "audio"},
    {"fields"},
    {"chapters", "faces", "giving_way", "location", "pitch", "quantity"},
    {"marking", "written"},
    {"units"},
)
#: Parts of the ground floor that the floors above reach only through `quantity` and `pitch`.
INTERNAL = {"marking", "units", "written"}
GROUND = {"quantity", "pitch", "marking", "units", "written"}
LEVEL = {room: len(FLOORS) - depth for depth, rooms in enumerate(FLOORS) for room in rooms}

_SCREEN = {"pages", "serving"}
#: Library -> the only rooms that may import it.
CONFINED = {
    "IPython": _SCREEN,
    "anywidget": _SCREEN,
    "greenlet": {"pages"},
    "ipykernel": _SCREEN,
    "ipywidgets": _SCREEN,
    "plotly": _SCREEN,
    "traitlets": _SCREEN,
    "jupyter_client": {"serving"},
    "jupyter_server": {"serving"},
    "tornado": {"serving"},
    "voila": {"serving"},
    "click": {"cli", "commands"},
    "schemdraw": {"sheets", "pages"},
    "segno": {"sheets", "pages", "serving"},
    "scipy": {"circuit", "audio", "chain", "studies"},
}

_DOTTED = re.compile(r"piezolab(\.\w+)+\Z")


#: The one table whose strings are no imports: the bare package loads a public name when somebody asks for it.
LAZY = ("piezolab", "_HOMES")


def imported(source: str, module: str, is_package: bool, deferred: bool = True) -> set[str]:
    """Dotted names that a module imports; a string that spells a module of ours counts too, but for the table `LAZY`.

    deferred: whether imports inside functions count.
    """
    home = module.split(".") if is_package else module.split(".")[:-1]
    names: set[str] = set()
    waiting: list[ast.AST] = [ast.parse(source)]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Assign) and (module, ast.unparse(node.targets[0])) == LAZY:
            continue
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) or deferred:
            waiting.extend(ast.iter_child_nodes(node))
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = home[: len(home) - node.level + 1] if node.level else []
            stem = ".".join(base + ([node.module] if node.module else []))
            names.update(f"{stem}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and _DOTTED.match(node.value):
            names.add(node.value)
    return names


def room_of(dotted: str) -> str | None:
    """The room a dotted name of ours lies in; None for the bare package and for other libraries."""
    parts = dotted.split(".")
    if parts[0] != "piezolab" or len(parts) < 2 or parts[1].startswith("__version"):
        return None
    return parts[1]


def floor_faults(module: str, imports: set[str]) -> list[str]:
    """What is wrong with where a module reaches, one sentence for each fault."""
    room = room_of(module)
    if room is None:
        return [f"{module} imports {name}" for name in sorted(imports) if room_of(name)]
    if room not in LEVEL:
        return [f"{module} stands on no floor: give {room!r} its place in FLOORS"]
    faults = []
    for name in sorted(imports):
        target = room_of(name)
        if target is not None and target != room and LEVEL.get(target, 99) >= LEVEL[room]:
            faults.append(f"{module} imports {name}, which is not below it")
        elif target in INTERNAL and room not in GROUND:
            faults.append(f"{module} imports {name}, which quantity and pitch keep to themselves")
        library = name.split(".")[0]
        if library in CONFINED and room not in CONFINED[library]:
            faults.append(f"{module} imports {library}; only {', '.join(sorted(CONFINED[library]))} may")
    return faults


#: Rooms among the pages that every chapter may use; a chapter uses no other chapter.
SHARED_PAGES = {"kit"}


def chapter_faults(module: str, imports: set[str]) -> list[str]:
    """Where one room of the pages reaches into another; the kit reaches into none."""
    parts = module.split(".")
    if parts[:2] != ["piezolab", "pages"] or len(parts) < 3:
        return []
    own = parts[2]
    allowed = {own} if own in SHARED_PAGES else {own, *SHARED_PAGES}
    rooms = {name: name.split(".")[2:3] for name in sorted(imports) if name.startswith("piezolab.pages.")}
    return [f"{module} imports {name}; only the kit is shared" for name, [room] in rooms.items() if room not in allowed]


def import_graph(sources: dict[str, tuple[str, bool]]) -> dict[str, set[str]]:
    """Module -> modules of ours that it imports, from module -> (source, whether it is a package's __init__).

    A package may put off loading its own modules until it is called: that alone is no ring.
    """

    def owner(name: str) -> str | None:
        """`from piezolab.chain import link` names a module or something in one."""
        return name if name in sources else parent if (parent := name.rpartition(".")[0]) in sources else None

    return {
        module: {
            target
            for name in imported(source, module, is_package, deferred=not is_package)
            if (target := owner(name)) and target != module
        }
        for module, (source, is_package) in sources.items()
    }


def cycle_in(graph: dict[str, set[str]]) -> list[str]:
    """Modules that import each other in a ring, or an empty list."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


SOURCES = {
    module_name(path): (path.read_text("utf-8"), path.name == "__init__.py") for path in sorted(PACKAGE.rglob("*.py"))
}


@pytest.mark.parametrize("module", SOURCES)
def test_module_imports_only_from_below(module: str) -> None:
    source, is_package = SOURCES[module]
    assert floor_faults(module, imported(source, module, is_package)) == []
    assert chapter_faults(module, imported(source, module, is_package)) == []


@pytest.mark.parametrize(
    "module, source, faults",
    [
        ("piezolab.pages.one.chapter", "from piezolab.pages.two.sentences import life", 1),
        ("piezolab.pages.one", "def page():\n    from piezolab.pages import two", 1),
        ("piezolab.pages.kit.plot", "from piezolab.pages.one.chapter import found", 1),
        ("piezolab.pages.start.start_page", "import piezolab.pages.one", 1),
        ("piezolab.pages.one.chapter", "from piezolab.pages.kit import plot\nfrom piezolab.pages.one import tasks", 0),
        ("piezolab.serving.app", "from piezolab.pages.one import page", 0),
    ],
)
def test_checker_sees_a_chapter_in_another(module: str, source: str, faults: int) -> None:
    assert len(chapter_faults(module, imported(source, module, False))) == faults


def test_no_ring_of_imports() -> None:
    assert cycle_in(import_graph(SOURCES)) == []


@pytest.mark.parametrize(
    "module, source, fault",
    [
        ("piezolab.studies.bias", "from piezolab.pages import bias", "not below"),
        ("piezolab.studies.bias", "def f():\n    import piezolab.serving", "not below"),
        ("piezolab.circuit.solve", "from ..chain import SignalChain", "not below"),
        ("piezolab.circuit.solve", "from piezolab.catalogue import transistor", "not below"),
        ("piezolab.circuit.solve", "ROOM = 'piezolab.chain'", "not below"),
        ("piezolab.quantity", "from piezolab import pitch", "not below"),
        ("piezolab.chain.link", "from piezolab.units import Unit", "keep to themselves"),
        ("piezolab.studies.hiss", "import plotly.graph_objects as go", "only pages, serving"),
        ("piezolab.sheets.build", "from ipywidgets import VBox", "only pages, serving"),
        ("piezolab.pages.bias", "from scipy.optimize import brentq", "only audio, chain, circuit, studies"),
        ("piezolab.loft.x", "", "no floor"),
        ("piezolab", "from .chain import SignalChain", "piezolab imports piezolab.chain"),
        ("piezolab", "def __getattr__(name):\n    import piezolab.pages.kit", "piezolab imports piezolab.pages"),
        ("piezolab", "_HOMES = {}\nHOME = 'piezolab.chain'", "piezolab imports piezolab.chain"),
        ("piezolab.studies.bias", "_HOMES = {'page': 'piezolab.pages.bias'}", "not below"),
    ],
)
def test_checker_sees_a_wrong_import(module: str, source: str, fault: str) -> None:
    faults = floor_faults(module, imported(source, module, module == "piezolab"))
    assert len(faults) == 1 and fault in faults[0]


def test_checker_accepts_what_is_right() -> None:
    source = "import numpy\nfrom piezolab import __version__\nfrom ..chain import SignalChain\nfrom . import bias\n"
    assert floor_faults("piezolab.studies.hiss", imported(source, "piezolab.studies.hiss", False)) == []
    lazy = "_HOMES = {'SignalChain': 'piezolab.chain'}\ndef __getattr__(name): ..."
    assert floor_faults("piezolab", imported(lazy, "piezolab", True)) == []


def test_checker_sees_a_ring() -> None:
    facade = {"piezolab.room": ("def go():\n    from .inner import run", True)}
    inner = {"piezolab.room.inner": ("from . import RoomError", False)}
    assert cycle_in(import_graph(facade | inner)) == []
    at_once = {"piezolab.room": ("from .inner import run", True)}
    assert set(cycle_in(import_graph(at_once | inner))) == {"piezolab.room", "piezolab.room.inner"}
    hidden = {
        "piezolab.a": ("def f():\n    import piezolab.b", False),
        "piezolab.b": ("from piezolab.a import f", False),
    }
    assert set(cycle_in(import_graph(hidden))) == {"piezolab.a", "piezolab.b"}


def undeclared(names: set[str], declared: set[str], providers: dict[str, list[str]]) -> list[str]:
    """Imported libraries that no declared requirement provides."""
    libraries = {name.split(".")[0] for name in names} - set(sys.stdlib_module_names) - {"piezolab", "tests"}
    return sorted(
        library
        for library in libraries
        if not declared & {canonicalize_name(provider) for provider in providers.get(library, [])}
    )


def test_every_imported_library_is_declared() -> None:
    """A library that only comes along with another may vanish with the other's next release."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    runtime = {canonicalize_name(Requirement(line).name) for line in project["dependencies"]}
    test = {canonicalize_name(Requirement(line).name) for line in project["optional-dependencies"]["test"]}
    providers = packages_distributions()

    def imports_of(folder: Path) -> dict[str, set[str]]:
        return {
            relative(path): imported(path.read_text("utf-8"), module_name(path), path.name == "__init__.py")
            for path in folder.rglob("*.py")
        }

    # The hub's own package is there in a hub's environment only, so nothing here can say what provides it.
    hub = {canonicalize_name(Requirement(line).name) for line in project["optional-dependencies"]["hub"]}
    behind_hub = providers | {name: [name] for name in hub}

    missing = {
        path: undeclared(names, runtime | hub, behind_hub)
        if path.startswith("piezolab/serving/hub/")
        else undeclared(names, runtime, providers)
        for path, names in imports_of(PACKAGE).items()
    }
    missing |= {
        path: undeclared(names, runtime | test, providers) for path, names in imports_of(ROOT / "tests").items()
    }
    assert {path: libraries for path, libraries in missing.items() if libraries} == {}


def test_checker_sees_an_undeclared_library() -> None:
    providers = {"yaml": ["PyYAML"], "numpy": ["numpy"]}
    names = {"os.path", "yaml", "numpy.linalg", "nowhere"}
    assert undeclared(names, {"numpy"}, providers) == ["nowhere", "yaml"]
    assert undeclared(names - {"nowhere"}, {"numpy", "pyyaml"}, providers) == []


#: What is declared for a command that the guide names; `tests/serving/lab.py` runs it.
STARTED = {"jupyterlab": COMMAND}


def unused(declared: set[str], names: set[str], providers: dict[str, list[str]]) -> list[str]:
    """Declared requirements of which nothing is imported."""
    libraries = {name.split(".")[0] for name in names}
    found = {canonicalize_name(provider) for library in libraries for provider in providers.get(library, [])}
    return sorted(declared - found)


def test_every_declared_library_is_imported_or_started() -> None:
    """By the package or a notebook, that of the package's own example among them, or by a command of the guide."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    runtime = {canonicalize_name(Requirement(line).name) for line in project["dependencies"]}
    names = set().union(*(imported(source, module, package) for module, (source, package) in SOURCES.items()))
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        for cell in json.loads(path.read_text("utf-8"))["cells"]:
            if cell["cell_type"] == "code":
                names |= imported("".join(cell["source"]), "notebook", False)
    names |= imported(example(), "notebook", False)
    assert unused(runtime, names, packages_distributions()) == sorted(STARTED)
    readme = (ROOT / "README.md").read_text("utf-8")
    assert all(f".venv/bin/{' '.join(command)}\n" in readme for command in STARTED.values())
    card = {"jupyterlab", "ipywidgets", "numpy", "scipy", "plotly", "voila"}
    assert card <= runtime


def test_checker_sees_an_unused_library() -> None:
    providers = {"yaml": ["PyYAML"], "numpy": ["numpy"]}
    assert unused({"numpy", "pyyaml", "left-over"}, {"numpy.linalg", "yaml", "os"}, providers) == ["left-over"]
