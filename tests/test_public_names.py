"""What `import piezolab` offers to a notebook of one's own: its names, its example, and that it costs nothing."""

import inspect
import pkgutil
import re
import subprocess
import sys
import textwrap

import numpy as np
import plotly.io
import pytest

import piezolab
from piezolab.chain import SignalChain
from piezolab.chapters import find_chapters
from piezolab.location import notebooks_dir
from piezolab.pages.curve import curve
from piezolab.studies.response import response

SLUGS = [chapter.slug for chapter in find_chapters(notebooks_dir())]
STAGED = SignalChain(pickup_c=10e-9)


def example() -> str:
    """The example of the package's own documentation."""
    return textwrap.dedent("\n".join(line for line in piezolab.__doc__.splitlines() if line.startswith("    ")))


def loaded(code: str) -> set[str]:
    """Libraries that a fresh Python has loaded after running some code."""
    told = subprocess.check_output([sys.executable, "-c", f"{code}\nimport sys; print(*sys.modules)"], text=True)
    return {name.split(".")[0] for name in told.splitlines()[-1].split()}


# -- names -----------------------------------------------------------------------------------------------------------
def test_importing_the_package_loads_nothing_else():
    assert loaded("import piezolab; dir(piezolab)") - loaded("import typing") == {"piezolab"}


@pytest.mark.parametrize("name", piezolab._HOMES)
def test_a_name_is_what_it_says_and_the_page_of_documentation_has_it(name):
    found = getattr(piezolab, name)
    assert found.__name__ == name and found.__module__.startswith("piezolab.") and inspect.getdoc(found)
    assert name in dir(piezolab) and name not in {module.name for module in pkgutil.iter_modules(piezolab.__path__)}
    assert re.search(rf"\b{name}\b", piezolab.__doc__) or issubclass(found, Exception)


def test_another_name_is_refused_as_python_does():
    with pytest.raises(AttributeError, match="module 'piezolab' has no attribute 'spam'"):
        _ = piezolab.spam
    with pytest.raises(ImportError):
        from piezolab import spam  # noqa: F401


def test_the_example_has_ten_lines_and_runs(capsys):
    code = example().splitlines()
    assert len(code) == 10
    names = {}
    exec("\n".join(code[:-1]), names)
    figure = eval(code[-1], names)
    said = capsys.readouterr().out
    assert "Nothing is wrong with the link." in said and "saturation" in said
    just = response(names["staged"].but(gate_r=names["least"]))
    assert just.low_note_re_midband_db == pytest.approx(-1, abs=1e-3)
    assert figure.layout.title.text == "Just enough" and len(figure.data) > 2


# -- curves ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("slug", SLUGS)
def test_every_chapters_curve_is_a_figure_that_needs_no_page(slug):
    figure = curve(slug, STAGED)
    text = figure.to_json()
    assert len(figure.data) and "var(" not in text and "wide_only" not in text
    assert plotly.io.from_json(text) == figure
    assert figure.layout.template.layout.paper_bgcolor == "#ffffff"
    for trace in figure.data:
        assert len(trace.x) == len(trace.y)


@pytest.mark.parametrize("slug", [slug for slug in SLUGS if slug != "where-is-the-fault"])
def test_a_kept_chain_is_drawn_beside(slug):
    other = STAGED.but(source_r=2.2e3, pickup_c=4.7e-9)
    assert len(curve(slug, STAGED, kept=other).data) > len(curve(slug, STAGED).data)


def test_a_curve_is_the_studys():
    """Chapter 1's second curve, with the level at every frequency as the study gives it for the same grid."""
    figure = curve("where-does-the-bass-go", STAGED)
    drawn = next(trace for trace in figure.data if trace.name.startswith("with") and trace.mode == "lines")
    frequency = np.asarray(drawn.x)
    assert np.asarray(drawn.y) == pytest.approx(response(STAGED, frequency).gain_db, rel=1e-9)
    assert drawn.line.color == "#0072B2"
    figure.data[0].y = [0.0] * len(figure.data[0].y)  # one's own to change, and nobody else's
    assert curve("where-does-the-bass-go", STAGED).data[0].y[0] != 0.0


def test_a_curve_that_cannot_be_is_refused_in_a_sentence():
    with pytest.raises(ValueError, match="chapter: 'bass' is not known; allowed is where-does-the-bass-go, "):
        curve("bass")
    with pytest.raises(ValueError, match="stage: 'direct' is none; allowed for will-this-transistor-do is"):
        curve("will-this-transistor-do", SignalChain(stage="direct"))


# -- what a page's kernel does not load -------------------------------------------------------------------------------
def test_a_pages_kernel_loads_no_library_that_it_does_not_need():
    """Whether it starts by itself or is forked from the warm process, which holds all that any page imports."""
    unwanted = {"plotly", "jupyterlab", "voila", "scipy"}
    page = "from piezolab.pages import where_does_the_bass_go\nwhere_does_the_bass_go.page()"
    assert not unwanted & loaded(page)
    warmed = loaded("from piezolab.serving.warm import preload, wanted\npreload(wanted())")
    assert {"numpy", "ipywidgets"} <= warmed and not unwanted & warmed
    assert "plotly" in loaded("import piezolab; piezolab.curve('where-does-the-bass-go')")
