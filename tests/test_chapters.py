import json
from pathlib import Path

import pytest

from piezolab.chapters import ChapterFile, find_chapters, notebook_title


def notebook(path: Path, *cells: tuple[str, str], **metadata: str) -> Path:
    made = [{"cell_type": kind, "source": text.splitlines(keepends=True)} for kind, text in cells]
    path.write_text(json.dumps({"cells": made, "metadata": metadata}), encoding="utf-8")
    return path


def test_file_names_give_order_and_address(tmp_path: Path) -> None:
    for name in ("10-later.ipynb", "2-what-first.ipynb", "02-why-b.ipynb", "index.ipynb"):
        notebook(tmp_path / name, ("markdown", f"# {name}"))
    assert [chapter.slug for chapter in find_chapters(tmp_path)] == ["what-first", "why-b", "later"]
    assert find_chapters(tmp_path)[2] == ChapterFile("later", "10-later.ipynb", "10-later.ipynb")


@pytest.mark.parametrize(
    "name",
    ["draft.ipynb", "1-Upper.ipynb", "1-two words.ipynb", "1-.ipynb", "1-a--b.ipynb", "1-a.txt", "-a.ipynb"],
)
def test_any_other_file_is_no_chapter(tmp_path: Path, name: str) -> None:
    notebook(tmp_path / name, ("markdown", "# Title"))
    assert find_chapters(tmp_path) == []


def test_two_chapters_at_one_address_are_refused(tmp_path: Path) -> None:
    for name in ("01-a.ipynb", "02-a.ipynb"):
        notebook(tmp_path / name)
    with pytest.raises(ValueError, match=r"02-a\.ipynb and 01-a\.ipynb claim the same address /a"):
        find_chapters(tmp_path)


def test_title_is_metadata_then_heading_then_file_name(tmp_path: Path) -> None:
    path = tmp_path / "01-where-is-it.ipynb"
    code, prose = ("code", "# no heading"), ("markdown", "Some words.\n\n# Where is it? \n\n## More")
    assert notebook_title(notebook(path, code, prose, title="Where, then?")) == "Where, then?"
    assert notebook_title(notebook(path, code, prose)) == "Where is it?"
    assert notebook_title(notebook(path, code)) == "Where is it"


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"cells": 3}', '{"cells": [{}]}', "\ud7ff"])
def test_what_is_no_notebook_is_named(tmp_path: Path, text: str) -> None:
    path = tmp_path / "01-torn.ipynb"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=r"01-torn\.ipynb is not a readable notebook"):
        notebook_title(path)


def test_every_shipped_chapter_is_a_question() -> None:
    """Chapters are listed by question; a statement as title would look like a file."""
    folder = Path(__file__).parents[1] / "notebooks"
    chapters = find_chapters(folder)
    assert chapters and all(chapter.title.endswith("?") for chapter in chapters)
