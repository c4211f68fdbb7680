"""The chapters: which notebook answers which question, at which address.

``01-where-does-the-bass-go.ipynb`` is the first chapter and its address is ``/where-does-the-bass-go``; the
number only orders. ``index.ipynb`` is the start page. Any other file is no page.
"""

import json
import re
from dataclasses import dataclass
from pathlib import Path

_NAME = re.compile(r"(\d+)-([a-z0-9]+(?:-[a-z0-9]+)*)\.ipynb")

INDEX_FILE = "index.ipynb"


@dataclass(frozen=True)
class ChapterFile:
    """One notebook: its address word, its file name inside the notebooks folder, its question, and what it answers."""

    slug: str
    file: str
    title: str
    answers: str = ""


def find_chapters(folder: Path) -> list[ChapterFile]:
    """The chapters in ``folder``, in order, without the start page.

    Raises ValueError when two files claim the same address or a notebook cannot be read.
    """
    found: dict[str, tuple[int, ChapterFile]] = {}
    for path in sorted(folder.glob("*.ipynb")):
        match = _NAME.fullmatch(path.name)
        if not match:
            continue
        number, slug = int(match[1]), match[2]
        if slug in found:
            raise ValueError(f"{path.name} and {found[slug][1].file} claim the same address /{slug}")
        found[slug] = number, ChapterFile(slug, path.name, notebook_title(path), notebook_answers(path))
    return [chapter for _, chapter in sorted(found.values(), key=lambda item: (item[0], item[1].slug))]


def notebook_answers(path: Path) -> str:
    """What a notebook answers, in a line, from its metadata's ``answers``; "" where it does not say."""
    try:
        said = json.loads(path.read_text(encoding="utf-8")).get("metadata", {}).get("answers", "")
    except (OSError, ValueError, AttributeError) as problem:
        raise ValueError(f"{path.name} is not a readable notebook: {problem}") from problem
    return said if isinstance(said, str) else ""


def notebook_title(path: Path) -> str:
    """A notebook's title: its metadata's ``title``, else its first heading, else its file name in words.

    Raises ValueError when the file is no notebook.
    """
    try:
        notebook = json.loads(path.read_text(encoding="utf-8"))
        title = notebook.get("metadata", {}).get("title")
        if title:
            return str(title)
        for cell in notebook["cells"]:
            heading = re.search(r"^#\s+(.+)$", "".join(cell["source"]), re.MULTILINE)
            if cell["cell_type"] == "markdown" and heading:
                return heading[1].strip()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as problem:
        raise ValueError(f"{path.name} is not a readable notebook: {problem}") from problem
    words = re.sub(r"^\d+-", "", path.stem).replace("-", " ")
    return words[:1].upper() + words[1:]
