"""The faces have every character that we write, load as they are told, and stand in for each other without a jump."""

from __future__ import annotations

import unicodedata
from base64 import b64encode
from pathlib import Path

import pytest
from PIL import ImageFont

from piezolab.faces import FAMILY, FOLDER, TEXT_FILES, embedded
from tests.faces.characters import characters, formulas, python_strings, shipped_texts, texts_of

STATIC = Path(__file__).resolve().parents[2] / "piezolab" / "pages" / "kit" / "static"
#: Sizes in bytes that a phone in a full room can fetch before it shows anything; the maths face comes later.
MOST = {"text-regular.woff2": 30_000, "text-bold.woff2": 30_000, "maths.woff2": 60_000}


def with_faces(body: str) -> str:
    """A document that has all of the style sheet's faces inside."""
    sheet = (FOLDER / "faces.css").read_text("utf-8")
    for name in MOST:
        sheet = sheet.replace(name, "data:font/woff2;base64," + b64encode((FOLDER / name).read_bytes()).decode())
    return f'<!doctype html><meta charset="utf-8"><style>{sheet}</style>{body}'


@pytest.fixture
def bare_page(bare_browser):
    page = bare_browser.new_page(viewport={"width": 390, "height": 844})
    yield page
    page.close()


@pytest.fixture
def system_page(browser):
    page = browser.new_page(viewport={"width": 390, "height": 844})
    yield page
    page.close()


def lacking(words: str, file: str) -> set[str]:
    """Characters that a face does not have: it draws the same empty box for them as for one that nobody has."""
    face = ImageFont.truetype(FOLDER / file, 40)
    box = bytes(face.getmask("\U0010fffd"))
    assert any(box)
    return {c for c in words if bytes(face.getmask(c)) == box}


@pytest.mark.parametrize("file", TEXT_FILES)
def test_the_text_face_has_every_character_that_we_write(file: str) -> None:
    words = characters(shipped_texts())
    assert set("aZ09Ωµ°−×½→“”⚠♯✓☐") <= set(words)
    assert lacking(words, file) == set(), "make faces, with these characters in .ci/make_faces.py"


def test_a_character_that_a_face_lacks_is_seen() -> None:
    assert lacking("aΩ漢⛄", "text-bold.woff2") == {"漢", "⛄"}
    assert lacking("aΩ漢𝑉", "maths.woff2") == {"漢"}


def test_texts_are_read_with_their_escapes() -> None:
    assert python_strings('"""no ©"""\nx = "\\u26a0"\ndef f():\n    "no ®"\n    return f"{x} ½"') == ["\u26a0", " ½"]
    assert texts_of(Path("a.css"), r'content: "\26a0 "') == ['content: "\u26a0"']
    assert texts_of(Path("a.js"), r'"\u2713"') == ['"\u2713"']
    assert texts_of(Path("a.html"), "&rarr;") == ["→"]
    assert characters(["a b\u00a0\n", "½a"]) == "ab½"
    assert formulas([r"<p>$$a_\mathrm{b}$$</p>", "it costs $5"]) == [r"a_\mathrm{b}"]


def set_formulas(page, found: list[str]) -> list[list[float]]:
    """Set formulas as the pages do; width and height of each."""
    page.set_content(with_faces("".join("<p class='set'></p>" for _ in found)))
    page.add_script_tag(path=next(STATIC.glob("temml-*.min.js")))
    return page.evaluate(
        """async (found) => {
            await document.fonts.load('1em "piezolab maths"');
            const places = [...document.querySelectorAll(".set")];
            places.forEach((place, n) => temml.render(found[n], place, { displayMode: true, throwOnError: true }));
            await document.fonts.ready;
            return places.map((place) => place.querySelector("math").getBoundingClientRect())
                .map((box) => [box.width, box.height]);
        }""",
        found,
    )


_SIGNS = """() => [...document.querySelectorAll("math :is(mi, mo, mn, mtext)")].map((e) =>
    [e.textContent, e.localName === "mi" && e.getAttribute("mathvariant") !== "normal"])"""


def italic(letter: str) -> str:
    """The sign that a browser draws for a variable of one letter (MathML Core, "math-auto")."""
    greek = unicodedata.name(letter).startswith("GREEK")
    case = "CAPITAL" if letter.isupper() else "SMALL"
    name = unicodedata.name(letter).rsplit(" ", 1)[1] if greek else unicodedata.normalize("NFKC", letter).upper()
    return "ℎ" if letter == "h" else unicodedata.lookup(f"MATHEMATICAL ITALIC {case} {name}")


@pytest.mark.browser
def test_every_formula_is_set_in_the_maths_face_and_alike_everywhere(system_page, bare_page) -> None:
    found = formulas(shipped_texts())
    assert len(found) >= 8
    ours, bare = set_formulas(system_page, found), set_formulas(bare_page, found)
    for formula, one, other in zip(found, ours, bare, strict=True):
        assert one == pytest.approx(other, abs=0.6), formula
        assert one[0] > 20 and one[1] > 10, formula
    signs = {
        italic(text) if variable and len(text) == 1 and text.isalpha() else text
        for text, variable in system_page.evaluate(_SIGNS)
    }
    assert {"𝑉", "𝛽", "off"} <= signs
    assert lacking(characters(list(signs)), "maths.woff2") == set()


@pytest.mark.browser
def test_lines_have_the_same_height_and_the_figures_one_width(system_page, bare_page) -> None:
    body = "<main style='font: 16px var(--pz-face)'><p>Ag Ω</p><p>F♯3 ½ 10⁻⁹</p><b>0</b>" + "".join(
        f"<span>{digit}</span>" for digit in range(10)
    )
    sizes = []
    for page in (system_page, bare_page):
        page.set_content(with_faces(body))
        page.evaluate("document.fonts.load('16px \"piezolab text\"').then(() => null)")
        sizes.append(
            page.evaluate(
                """() => [...document.querySelectorAll("p, span")].map((e) => e.getBoundingClientRect())
                    .map((box) => [box.width, box.height])"""
            )
        )
    assert sizes[0] == sizes[1]
    assert len({tuple(size) for size in sizes[0][2:]}) == 1
    assert sizes[0][0][1] == sizes[0][1][1]


@pytest.mark.browser
@pytest.mark.parametrize("weight", ["400", "700"])
def test_what_stands_in_until_the_face_is_there_takes_the_same_room(system_page, weight: str) -> None:
    """Where the computer has one of the faces that are named; each is asked for by itself."""
    words = max((text for text in shipped_texts() if text.isascii()), key=lambda text: text.count(". "))[:2000]
    names = ["piezolab text", "piezolab fallback", "piezolab wide fallback"]
    system_page.set_content(with_faces(""))
    sizes = system_page.evaluate(
        """async ([names, weight, words]) => {
            const sizes = {};
            for (const name of names) {
                const place = document.createElement("span");
                place.style.cssText = `font: ${weight} 16px "${name}"; white-space: nowrap`;
                place.textContent = words;
                document.body.append(place);
                const found = await document.fonts.load(`${weight} 16px "${name}"`).catch(() => []);
                if (!found.length || found[0].status !== "loaded") continue;
                const box = place.getBoundingClientRect();
                sizes[name] = [box.width, box.height];
            }
            return sizes;
        }""",
        [names, weight, words],
    )
    wide, high = sizes.pop("piezolab text")
    for name, (width, height) in sizes.items():
        assert width == pytest.approx(wide, rel=0.04), name
        assert height == pytest.approx(high, abs=1.01), name


def test_files_are_small_and_their_licences_beside_them() -> None:
    assert {path.name for path in FOLDER.glob("*.woff2")} == set(MOST)
    for name, most in MOST.items():
        assert 8_000 < (FOLDER / name).stat().st_size < most
        licence = (FOLDER / f"{name.partition('.')[0].partition('-')[0]}-LICENSE.txt").read_text("utf-8")
        assert "SIL OPEN FONT LICENSE Version 1.1" in licence.replace("Open Font License", "OPEN FONT LICENSE")


def test_a_reserved_name_is_not_used() -> None:
    """The text face's licence reserves the name of its origin: a changed face must not bear it."""
    reserved = (FOLDER / "text-LICENSE.txt").read_text("utf-8").split("Reserved Font Name '")[1].split("'")[0]
    assert reserved.lower() not in (FOLDER / "faces.css").read_text("utf-8").replace("src:", "").lower()
    assert reserved.lower() not in FAMILY.lower()


def test_a_document_carries_the_text_face_itself() -> None:
    sheet = embedded()
    assert sheet.count("@font-face") == sheet.count("data:font/woff2;base64,") == len(TEXT_FILES)
    assert "local(" not in sheet and ".woff2" not in sheet
