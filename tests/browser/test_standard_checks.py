"""The checks of the page standard see what they are there for: each is tried on a page with one fault."""

from types import SimpleNamespace

import pytest

from tests.browser import checks
from tests.browser.chapter import PHONE

pytestmark = pytest.mark.browser

GOOD = """<!doctype html><html lang="en"><head><title>t</title>
  <meta name='viewport' content='width=device-width'><style>
  body { font: 16px sans-serif; } button, input, select { min-height: 44px; } :focus-visible { outline: 3px solid }
  .pz-unseen { position: absolute; width: 1px; height: 1px; overflow: hidden }
  </style></head><body><a class="pz-skip" href="#m">skip to it</a><main id="m"><h1>What?</h1>%s</main></body></html>"""

SAMPLES = {
    "axe": [
        "<img src='data:,'>",
        "<button></button>",
        "<p style='color: #bbb; background: #fff'>pale words</p>",
        "<label for='a'>one</label><input id='a'><label for='a'>two</label>",
    ],
    "unnamed": [
        "<input type='range' aria-valuetext='4.7 MΩ'>",
        "<p class='pz-control'><b class='pz-unit'>Ω</b><input type='range' aria-label='x' aria-valuetext='4'></p>",
        "<div class='piezolab-plot'>.</div>",
        "<div class='piezolab-plot' role='img' aria-label='plot'>.</div>",
        "<div class='pz-page'><table><caption>c</caption><thead><tr><th>a</th></tr></thead></table></div>",
        "<div class='pz-page'><table><thead><tr><th scope='col'>a</th></tr></thead></table></div>",
        "<div class='pz-verdict' role='alert'>.</div>",
        "<p id='x'>.</p><p id='x'>.</p>",
        "<h3>too deep</h3>",
        "<label for='nowhere'>a</label>",
    ],
    "wide": [
        "<div style='width: 700px'>wide</div>",
        "<div class='pz-scroll' style='overflow-x: auto'><div style='width: 700px'>wide</div></div>",
        "<div class='pz-scroll'>narrow</div><p class='pz-cue'>there is more</p>",
    ],
    "cut": [
        "<p style='width: 60px; overflow: hidden; white-space: nowrap'>words that end before their time</p>",
        "<input type='text' value='a value far too long for its place' style='width: 60px'>",
        "<select style='width: 60px'><option>an option far too long</select>",
    ],
    "small": [
        "<button style='min-height: 30px; width: 80px'>low</button>",
        "<button style='width: 30px; padding: 0'>n</button>",
        "<input type='range' style='--pz-thumb: 18px; width: 200px; height: 44px'>",
        "<label><input type='radio' style='min-height: 0'>low</label>",
    ],
    "walk": [
        "<button style='outline: none'>no ring</button>",
        "<button>behind</button><div style='position: fixed; inset: 0; background: #fff'>.</div>",
        "<button onkeydown='event.preventDefault()'>a trap</button><button>after it</button>",
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def sheet(browser):
    context = browser.new_context(**PHONE)
    yield SimpleNamespace(page=context.new_page())
    context.close()


@pytest.mark.parametrize("name", SAMPLES)
def test_nothing_is_wrong_with_a_good_page(sheet, name):
    sheet.page.set_content(GOOD % "<p>All is well.</p><label>x <input type='text' value='1'></label>")
    assert getattr(checks, name)(sheet) == []


@pytest.mark.parametrize(
    "name, sample", [(name, sample) for name, samples in SAMPLES.items() for sample in samples]
)
def test_a_fault_is_seen(sheet, name, sample):
    sheet.page.set_content(GOOD % sample)
    assert getattr(checks, name)(sheet) != []
