"""Templates are compiled once, and anew where their text has changed."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from jinja2 import Environment
from nbformat.v4 import new_markdown_cell, new_notebook
from voila.exporter import VoilaExporter

from piezolab.serving.app import _configuration


def page(folder: Path, text: str) -> str:
    """A page by an exporter of its own, as the server makes each one."""
    exporter = VoilaExporter(config=_configuration(folder), template_paths=[str(folder)])

    async def made() -> str:
        notebook = new_notebook(cells=[new_markdown_cell(text)])
        return "".join([html async for html, _ in exporter.generate_from_notebook_node(notebook)])

    with ThreadPoolExecutor(1) as elsewhere:  # a browser's tests before may have left a loop running here
        return elsewhere.submit(asyncio.run, made()).result()


def test_a_template_is_compiled_once_however_many_pages_are_made_by_it(tmp_path, monkeypatch):
    compiled, stock = [], Environment.compile

    def compile_and_note(self, source, name=None, *rest, **options):
        compiled.append(name)
        return stock(self, source, name, *rest, **options)

    monkeypatch.setattr(Environment, "compile", compile_and_note)
    (tmp_path / "frame.html.j2").write_text("<p>{% block words %}{% endblock %}</p>")
    own = tmp_path / "index.html.j2"
    own.write_text("{% extends 'frame.html.j2' %}{% block words %}{{ nb.cells[0].source | upper }}{% endblock %}")
    assert [page(tmp_path, text) for text in ("one", "two")] == ["<p>ONE</p>", "<p>TWO</p>"]
    assert sorted(compiled) == ["frame.html.j2", "index.html.j2"]
    own.write_text(own.read_text().replace("upper", "length"))
    assert page(tmp_path, "three") == "<p>5</p>"
    assert compiled[2:] == ["index.html.j2"]
