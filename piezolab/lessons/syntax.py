"""What to do about a lesson that is no TOML: the usual slips of somebody who writes one by hand, told from the line."""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches

_AT = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
#: What the line looks like -> what to do about it; the first that fits is said. The last one always fits.
_FIXES = (
    (r"[“”„]", 'take the straight sign " instead of curly ones'),
    (r"^\s*[\w-]+\s*=\s*[+-]?\d+,\d", "write the number with a point, such as 0.05"),
    (r"^\s*[\w-]+\s*=\s*[+-]?[\d.]+\s*[^\d\s.,#_e:-]", "write the number without its unit, or both in quotes"),
    (r'^\s*\[\s*"|\]\s*\[\s*"', "put a comma between the options and a bracket at the end of the list"),
    (r"^\s*\[\[?[^\]]*\]?\]?\s*$", "begin every step with a line [[step]], two brackets on either side"),
    (r'^[^"]*"[^"]*$', 'put the missing " at the end of the words'),
    (r'^[^"]*"[^"]*"[^"]*".*"', "inside the words take single or curly quotes, the straight sign ends them"),
    (r"^\s*[\w-]+\s+[^=\s]", 'put = between the word and its value, such as title = "some words"'),
    (r"", 'write each line as word = "value", each word once in a step'),
)


def syntax_fault(text: str, file: str, error: tomllib.TOMLDecodeError) -> str:
    """One sentence: file, line, what the reader of TOML says, and the fix."""
    said = str(error)
    at = _AT.search(said)
    lines = text.splitlines() or [""]
    number = min(int(at[1]) if at and at[1] else len(lines), len(lines))
    line = lines[number - 1]
    # an unclosed list or text is noticed where the next line begins
    said = _AT.sub("", said)
    said = said[:1].lower() + said[1:]
    said = {"illegal character '\\n'": "the line ends inside its words"}.get(said, said)
    fix = next(fix for pattern, fix in _FIXES if re.search(pattern, line))
    key = re.match(r"\s*([\w-]+)\s*=", line)
    if "overwrite" in said and key:
        said, fix = f"{key[1]!r} is there twice", "take one of the two out, or begin a new [[step]] before it"
    return f"{file}, line {number}: {said}; {fix}."


def nearest(word: object, known: object, alike: float = 0.6) -> str:
    """` (did you mean 'gate_r'?)` for a misspelt word; empty where nothing is near. alike: how near, up to 1."""
    near = get_close_matches(str(word), [str(one) for one in known], n=1, cutoff=alike)
    return f" (did you mean {near[0]!r}?)" if near else ""
