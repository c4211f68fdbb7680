"""A notebook is prose and a few short cells: no functions, no maths, no results of an earlier run."""

import ast
import copy
import importlib
import json
from typing import Any

import pytest

from tests.repository.tree import ROOT, relative

MOST_CODE_CELLS = 6
MOST_LINES = 8

#: What a cell may not contain, and what it is called.
BARRED = {
    ast.FunctionDef: "a function",
    ast.AsyncFunctionDef: "a function",
    ast.Lambda: "a lambda",
    ast.ClassDef: "a class",
    ast.For: "a loop",
    ast.While: "a loop",
    ast.comprehension: "a loop",
    ast.BinOp: "arithmetic",
    ast.AugAssign: "arithmetic",
    ast.Compare: "a comparison",
    ast.If: "a decision",
    ast.Try: "error handling",
}


def _text(cell: dict[str, Any]) -> str:
    source = cell["source"]
    return source if isinstance(source, str) else "".join(source)


def cell_faults(code: str) -> list[str]:
    """What does not belong in a code cell."""
    faults = []
    lines = [line for line in code.splitlines() if line.strip()]
    if len(lines) > MOST_LINES:
        faults.append(f"{len(lines)} lines, {MOST_LINES} at most")
    try:
        tree = ast.parse(code)
    except SyntaxError as error:
        return [*faults, f"not plain Python: {error.msg}"]
    for node in ast.walk(tree):
        faults += [what for kind, what in BARRED.items() if isinstance(node, kind)]
        if isinstance(node, ast.Import):
            faults += [f"imports {name.name}" for name in node.names if name.name.split(".")[0] != "piezolab"]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] != "piezolab":
            faults.append(f"imports {node.module}")
    return faults


def notebook_faults(notebook: dict[str, Any]) -> list[str]:
    """What does not belong in a chapter's notebook."""
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    faults = []
    if not 1 <= len(code) <= MOST_CODE_CELLS:
        faults.append(f"{len(code)} code cells, 1 to {MOST_CODE_CELLS} wanted")
    if not any(cell["cell_type"] == "markdown" for cell in notebook["cells"]):
        faults.append("no prose")
    if "widgets" in notebook["metadata"]:
        faults.append("stored widget state")
    for number, cell in enumerate(code, start=1):
        found = cell_faults(_text(cell))
        found += ["stored output"] if cell["outputs"] else []
        found += ["stored execution count"] if cell["execution_count"] is not None else []
        faults += [f"code cell {number}: {fault}" for fault in found]
    return faults


NOTEBOOKS = sorted(path for path in (ROOT / "notebooks").rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts)


def test_notebooks_are_prose_and_short_cells() -> None:
    assert NOTEBOOKS
    found = {relative(path): notebook_faults(json.loads(path.read_text("utf-8"))) for path in NOTEBOOKS}
    assert {path: faults for path, faults in found.items() if faults} == {}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=relative)
def test_what_a_notebook_imports_is_there(path) -> None:
    cells = [cell for cell in json.loads(path.read_text("utf-8"))["cells"] if cell["cell_type"] == "code"]
    wanted = [node for cell in cells for node in ast.walk(ast.parse(_text(cell))) if isinstance(node, ast.ImportFrom)]
    assert wanted
    for node in wanted:
        for alias in node.names:
            assert callable(importlib.import_module(f"{node.module}.{alias.name}").page)


GOOD: dict[str, Any] = {
    "metadata": {},
    "cells": [
        {"cell_type": "markdown", "source": ["# Where does the bass go?"]},
        {
            "cell_type": "code",
            "source": ["from piezolab.pages.loading import page\n", "page(loss=-3)"],
            "outputs": [],
            "execution_count": None,
        },
    ],
}


def test_checker_accepts_a_good_notebook() -> None:
    assert notebook_faults(GOOD) == []


@pytest.mark.parametrize(
    "code, fault",
    [
        ("def f(): pass", "a function"),
        ("f = lambda: 1", "a lambda"),
        ("import numpy as np", "imports numpy"),
        ("from scipy.signal import bode", "imports scipy.signal"),
        ("x = 1 / (2 * 3.14)", "arithmetic"),
        ("x += 1", "arithmetic"),
        ("[f(x) for x in y]", "a loop"),
        ("class A: pass", "a class"),
        ("if ready: show()", "a decision"),
        ("%matplotlib inline", "not plain Python"),
        ("a\n" * (MOST_LINES + 1), "lines"),
    ],
)
def test_checker_sees_a_bad_cell(code: str, fault: str) -> None:
    assert any(fault in found for found in cell_faults(code))


def test_checker_sees_a_bad_notebook() -> None:
    bad = copy.deepcopy(GOOD)
    bad["metadata"]["widgets"] = {}
    bad["cells"][1] |= {"outputs": [{}], "execution_count": 3}
    bad["cells"] = bad["cells"][1:] * (MOST_CODE_CELLS + 1)
    found = " / ".join(notebook_faults(bad))
    for fault in ("7 code cells", "no prose", "stored widget state", "stored output", "stored execution count"):
        assert fault in found
