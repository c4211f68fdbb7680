"""The type faces that travel with the package: one for text in two weights, one for formulas. They are subsets, under
names of our own, of faces with an open licence, which lies beside them; `make faces` makes them anew."""

import re
from base64 import b64encode
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
#: The text face: what a page fetches before it shows anything.
TEXT_FILES = ("text-regular.woff2", "text-bold.woff2")
#: What a drawing names, outside a page's style sheet too; the words after the first are for a program without the face.
FAMILY = "piezolab text, Arial, Liberation Sans, Helvetica, sans-serif"


@cache
def embedded() -> str:
    """Style sheet with the text face inside, for a document that has to stand alone: 55 kB."""
    sheet = (FOLDER / "faces.css").read_text("utf-8")
    rules = re.findall(r'@font-face \{\s*font-family: "piezolab text";[^}]*\}', sheet)
    for name in TEXT_FILES:
        face = b64encode((FOLDER / name).read_bytes()).decode("ascii")
        rules = [rule.replace(name, f"data:font/woff2;base64,{face}") for rule in rules]
    return "".join(rules)
