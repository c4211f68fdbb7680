"""The type faces that travel with the package: one for text, one for formulas. Both are subsets under other names of
faces with an open licence, which lies beside each; `make faces` makes them anew, with more characters."""

from base64 import b64encode
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
#: What a drawing names, outside a page's style sheet too; the words after the first are for a program without the face.
FAMILY = "piezolab text, Arial, Liberation Sans, Helvetica, sans-serif"


@cache
def embedded() -> str:
    """Style sheet with the text face inside, for a document that has to stand alone: 50 kB."""
    face = b64encode((FOLDER / "text.woff2").read_bytes()).decode("ascii")
    sheet = (FOLDER / "faces.css").read_text("utf-8")
    first = sheet[sheet.index("@font-face") : sheet.index("}") + 1]
    return first.replace("text.woff2", f"data:font/woff2;base64,{face}")
