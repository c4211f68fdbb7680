"""Makes piezolab/faces/*.woff2 anew from the published faces (`make faces`); needs fonttools with brotli.

The licence of both allows that under another name: "Source" is reserved, so the families are called ours.
"""

import sys
from pathlib import Path

from fontTools.misc.transform import Scale
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont

HERE = Path(__file__).resolve().parents[1] / "piezolab" / "faces"


def _points(words: str) -> set[int]:
    """Code points of a list such as "20-7E A0": hexadecimal, ranges included."""
    found: set[int] = set()
    for word in words.split():
        first, _, last = word.partition("-")
        found.update(range(int(first, 16), int(last or first, 16) + 1))
    return found


#: Latin with the accents of Europe, Greek, signs that a text about circuits and notes may want.
TEXT = _points(
    "20-7E A0-17F 18F 192 218-21B 2BB-2BC 2C6 2DA 2DC 384-38A 38C 38E-3A1 3A3-3CE 1E9E 2002-200A 2010-2015 2018-201E"
    " 2020-2022 2026 202F 2030 2032-2033 2039-203A 2044 2070 2074-2079 207A-207E 2080-208E 20AC 2116 2122 2126"
    " 2150-215E 2190-2195 2202 2206 220F 2211 2212 2215 221A 221E 222B 2248 2260 2264 2265 25A0 25A1 25B2 25B6 25BC"
    " 25C0 25CA 25CB 25CF 2610 2611 2713 2717"
)
#: Signs that the text face lacks, from the maths face: °C, proportional, parallel, flat, natural, sharp, take care.
BORROWED = _points("2103 221D 2225 266D-266F 26A0")
#: Upright, italic, bold and script letters, Greek, operators, arrows, fences in all sizes.
MATHS = _points(
    "20-7E A0 A7 AC B0-B7 B9 BC-BE D7 F7 131 237 300-338 391-3A9 3B1-3C9 3D1 3D5 3D6 3F1 3F5 2002-200A 2010-2015 2016"
    " 2018-201D 2020-2022 2026 202F 2032-2037 2044 2057 2061-2064 20D7 210B-2113 2118 211B-211D 2126 212C 2130-2131"
    " 2190-2195 21A6 21CC 21D0-21D5 2200-2213 2215-2237 223C 2243 2245 2248 224D 2250 2260-2261 2264-2265 226A-226B"
    " 2282-2287 2295 2297 22A5 22C0-22C5 22EE-22F1 2308-230B 23B4-23B5 23DC-23E1 27E8-27E9 2A7D-2A7E"
    " 1D400-1D467 1D6A4-1D6E1 1D6E2-1D71B"
)


def _shrink(font: TTFont, points: set[int], features: list[str]) -> None:
    options = Options()
    options.layout_features = features
    options.hinting = False
    options.glyph_names = False
    options.notdef_outline = True
    options.name_IDs = [0, 13, 14]
    options.drop_tables += ["DSIG", "STAT", "BASE"]
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=points)
    subsetter.subset(font)


def _borrow(font: TTFont, other: TTFont, points: set[int]) -> None:
    """Copy outlines, alike for both weights. Both faces have 1000 units to the em."""
    shapes, names = other.getGlyphSet(), other.getBestCmap()
    order = font.getGlyphOrder()
    for point in sorted(points):
        name = f"uni{point:04X}"
        outline, pen = DecomposingRecordingPen(shapes), TTGlyphPen(None)
        shapes[names[point]].draw(outline)
        # the sign for care is made for display; beside text it is as high as a capital
        size = 0.66 if point == 0x26A0 else 1.0
        outline.replay(TransformPen(pen, Scale(size)))
        font["glyf"][name] = pen.glyph()
        wide, left = other["hmtx"][names[point]]
        font["hmtx"][name] = round(size * wide), round(size * left)
        order = [*order, name] if name not in order else order
        for table in font["cmap"].tables:
            if table.isUnicode():
                table.cmap[point] = name
    font.setGlyphOrder(order)


def _finish(font: TTFont, family: str, style: str, file: str) -> None:
    notice = font["name"].getDebugName(0)
    names = {1: family, 2: style, 3: file, 4: f"{family} {style}", 6: f"{family} {style}".title().replace(" ", "")}
    for number, words in names.items():
        font["name"].setName(words, number, 3, 1, 0x409)
    assert notice, "the copyright notice stays in the file"
    font.flavor = "woff2"
    font.save(HERE / file)
    print(f"{file}: {(HERE / file).stat().st_size} bytes, {len(font.getBestCmap())} characters")


def main(text: Path, maths: Path) -> None:
    """Subset the two published faces."""
    full = TTFont(maths, recalcTimestamp=False)
    # two weights of their own: a printed page carries a variable face as drawings, not as letters
    for style, weight in (("Regular", 400), ("Bold", 650)):
        face = instantiateVariableFont(TTFont(text, recalcTimestamp=False), {"wght": weight})
        _shrink(face, TEXT, ["kern", "ccmp", "mark", "mkmk"])
        _borrow(face, full, BORROWED)
        _finish(face, "piezolab text", style, f"text-{style.lower()}.woff2")
    _shrink(full, MATHS, ["ssty", "ccmp", "mark", "kern", "dtls", "flac"])
    _finish(full, "piezolab maths", "Regular", "maths.woff2")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
