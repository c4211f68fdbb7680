"""What the package writes: every character of its texts, and its formulas."""

from __future__ import annotations

import ast
import html
import re
from pathlib import Path

from tests.repository.tree import tracked_files

#: Parts written by others, and files that are no text.
_CARRIED = re.compile(r"\.min\.js\Z|LICENSE|\.(?:woff2|png|ipynb_checkpoints)\Z")
_FORMULA = re.compile(r"\$\$(.+?)\$\$|(?<!\$)\$([^$\n{}]+?)\$(?!\$)", re.DOTALL)


def python_strings(source: str) -> list[str]:
    """Strings of a program, escapes resolved; docstrings are for programmers and do not count."""
    tree = ast.parse(source)
    explained = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in explained
    ]


def texts_of(path: Path, text: str) -> list[str]:
    """Texts of one file, with escapes and entities resolved as the file's kind does."""
    if path.suffix == ".py":
        found = python_strings(text)
    elif path.suffix == ".css":
        found = [re.sub(r"\\([0-9a-fA-F]{2,6}) ?", lambda match: chr(int(match[1], 16)), text)]
    else:  # notebooks and scripts know the same escape; data files are read as they stand
        found = [re.sub(r"\\u([0-9a-fA-F]{4})", lambda match: chr(int(match[1], 16)), text)]
    return [html.unescape(one) for one in found]


def shipped_texts() -> list[str]:
    """All texts that the package carries."""
    found: list[str] = []
    for path in (path for folder in ("piezolab", "data", "notebooks") for path in tracked_files(folder)):
        if _CARRIED.search(path.name):
            continue
        found += texts_of(path, path.read_text("utf-8"))
    return found


def characters(texts: list[str]) -> str:
    """Every character of the texts that has a shape, once."""
    return "".join(sorted({c for text in texts for c in text if c.isprintable() and not c.isspace()}))


def formulas(texts: list[str]) -> list[str]:
    """Every formula of the texts, without its dollar signs."""
    return [a or b for text in texts for a, b in _FORMULA.findall(text) if "\\" in (a or b)]
