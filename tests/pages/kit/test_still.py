"""The still of a page, shown before the live page: the same verdict, and the same curve by another road."""

import json
import math
import re
from html.parser import HTMLParser
from importlib import import_module

import numpy as np
import pytest

from piezolab.chapters import find_chapters
from piezolab.location import notebooks_dir
from piezolab.pages.kit.still import MIME
from piezolab.pages.kit.still_svg import BOX, picture

SLUGS = [chapter.slug for chapter in find_chapters(notebooks_dir())]
#: Chapters that open with a form have none.
WITHOUT = {"what-shall-i-build-from-my-drawer", "where-is-the-fault", "did-it-do-what-was-predicted"}


def page_of(slug: str, link: str = ""):
    return import_module(f"piezolab.pages.{slug.replace('-', '_')}.chapter").make(link)


class Balance(HTMLParser):
    """Whether every element that is opened is shut."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.mark.parametrize("slug", SLUGS)
def test_it_says_what_the_page_says(slug):
    page = page_of(slug)
    assert (page.still is None) == (slug in WITHOUT)
    if page.still is None:
        return
    html = page.still.html()
    assert page.verdict.content in html and f">{page.still._bar.place}<" in html
    parser = Balance()
    parser.feed(html)
    assert parser.open == []


def test_none_where_the_link_is_mistaken_and_none_in_a_lesson():
    assert page_of("where-does-the-bass-go", "gate_r=banana").still.html() == ""
    assert page_of("where-does-the-bass-go", "lesson=where-the-bass-goes").still is None


def curves(html: str) -> list[np.ndarray]:
    """Every curve in a picture as points (n, 2) in the box's units."""
    found = []
    for path in re.findall(r'<path d="(M[^"]+)" class="pz-still-curve"', html):
        numbers = re.findall(r"-?[\d.]+", path)
        found.append(np.array(numbers, float).reshape(-1, 2))
    return found


def test_the_curve_is_where_its_axis_says():
    page = page_of("where-does-the-bass-go", "pickup_c=1n5&input=pedal-vintage")
    traces, layout, narrow = page.plot.shown
    drawn = curves(picture(traces, layout, narrow, ""))
    lines = [trace for trace in traces if trace["mode"] == "lines"]
    assert len(drawn) == len(lines) >= 3
    # The order is that of the panels: level first, then phase.
    lines.sort(key=lambda trace: trace.get("yaxis", "y"))
    for trace, points in zip(lines, drawn, strict=True):
        first, last = (10**end for end in layout["xaxis"]["range"])
        bottom, top = layout["yaxis" + trace.get("yaxis", "y")[1:]]["range"]
        # back from the picture: a logarithmic axis multiplies
        hertz = first * (last / first) ** (points[:, 0] / BOX)
        level = top + (bottom - top) * points[:, 1] / BOX
        at = np.interp(np.log(hertz), np.log(trace["x"]), trace["y"])
        assert np.allclose(level, at, atol=0.02 * (top - bottom) / 10), trace["name"]
        assert math.isclose(hertz.min(), trace["x"][0], rel_tol=1e-3)


def test_its_words_cannot_be_markup():
    bad = '<img src=x onerror="alert(1)">'
    x = np.array([1.0, 10.0])
    trace = {"name": bad, "x": x, "y": x, "mode": "lines", "line": {"color": 'red" onload="alert(1)'}}
    axis = {"range": [0, 1], "title": {"text": bad}, "tickvals": [0.5], "ticktext": [bad]}
    note = {"x": 0, "y": 1, "xref": "x", "yref": "paper", "text": bad, "font": {"color": bad}}
    layout = {"xaxis": axis, "yaxis": axis, "annotations": [note], "showlegend": True}
    html = picture([trace], layout, {}, bad)
    assert "<img" not in html and "onload" not in html and html.count("&lt;img") >= 5


def test_a_figure_of_another_kind_keeps_its_room():
    html = picture([{"type": "bar", "x": [1], "y": [2]}], {"height": 300}, {}, "bars")
    assert "--h:300px" in html and "<svg" not in html


def test_it_goes_with_the_widget_in_a_served_page_alone(monkeypatch):
    module = import_module("piezolab.pages.where_does_the_bass_go.chapter")
    assert MIME not in module.page("pickup_c=1n5")._repr_mimebundle_()
    monkeypatch.setenv("QUERY_STRING", "pickup_c=1n5")
    sent = module.page()._repr_mimebundle_()
    assert 'id="still"' in sent[MIME] and "application/vnd.jupyter.widget-view+json" in sent


def test_the_template_knows_its_kind():
    template = (notebooks_dir().parent / "piezolab/serving/template/index.html.j2").read_text(encoding="utf-8")
    assert json.dumps(MIME) in template
