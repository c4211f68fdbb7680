"""Random and hostile links: none raises, none brings in markup, none changes a value unsaid.

Six thousand in every run; fifty thousand with PIEZOLAB_LONG=1, as every run had them until 27 November 2026: none
failed.
"""

import os
import random
import re
from urllib.parse import parse_qsl, quote

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.link import read_link, to_query
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from tests.chain.strategies import random_chain

COUNT = 50_000 if os.environ.get("PIEZOLAB_LONG") else 6_000
SAFE = re.compile(r"[A-Za-z0-9_=&.,-]*")
TABLE = all_parameters()
PAYLOADS = (
    "<script>alert(1)</script>", "\"><img src=x onerror=alert(1)>", "javascript:alert(1)", "{{7*7}}", "${x}", "';--",
    "\x00", "\x00gain", "\ud800", "\udfff\ud800", "\u202egain", "\ufeff", "\u200b1M", "é" * 30, "１Ｍ", "١", "۵k",
    "1" * 300, "9" * 39, "1e400", "-1e-400", "1e99999", "0x10", "1_000", "1,000", "1,000\u202e", "1.000.000", "nan",
    "-inf", "∞", "+", "-", "--5", "5--", "5k5k", "5 k", "0", "-0", "00015n", "1M ", "\t1M", "1\n5", "1\r\n", "%", "%%",
    "%zz", "%25", "%2525", "%252525253Cb%25252525", "%00", "%ff%fe", "%ed%a0%80", "%C0%BC", "%26stage%3Dgain", "%3D",
    "&amp;", "&lt;", "&#60;", "&", "=", "==", "?", "#", "/", "://", ";", ",", ",,", "none", "None", "null", "true",
    "[]", "__proto__", "constructor", "\N{VIOLIN}", "ﷺ" * 40, "a" * 500, "../../etc", "file:///x", "D3#", "D3-D3",
    "1k,1k", "1k,1k,1", "pedal,pedal,pedal",
)  # fmt: skip
ALPHABET = "0123456789kMmunpGRF.,-+%&=?#/ ;:_<>\"'abcdefgxyz\x00\n\u202e\ud800é\N{VIOLIN}"


def mutated(rng: random.Random, text: str) -> str:
    """A text with some characters replaced, put in, taken out or moved."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randint(0, len(text))
        how = rng.random()
        if how < 0.3:
            text = text[:at] + rng.choice(ALPHABET) + text[at + 1 :]
        elif how < 0.6:
            text = text[:at] + rng.choice(ALPHABET) + text[at:]
        elif how < 0.75:
            text = text[:at] + text[at + rng.randint(1, 5) :]
        elif how < 0.9:
            pieces = text.split("&")
            pieces.insert(rng.randint(0, len(pieces)), rng.choice(pieces))
            text = "&".join(pieces)
        else:
            text = text[:at] + rng.choice(PAYLOADS) + text[at:]
    return text


def made_up(rng: random.Random, keys: list[str]) -> str:
    """Known and unknown keys with payloads, encoded in one of several ways."""
    pieces = []
    for _ in range(rng.randint(1, 6)):
        key = rng.choice(keys) if rng.random() < 0.8 else rng.choice(PAYLOADS)
        word = rng.choice(PAYLOADS)
        for _ in range(rng.choice((0, 1, 1, 1, 2, 5))):
            word = quote(word, safe="", errors="replace")
        pieces.append(f"{key}{rng.choice(('=', '=', '=', '=', '', '%3D'))}{word}")
    return rng.choice(("&", "&", "&", "&amp;", ";")).join(pieces)


def noise(rng: random.Random) -> str:
    return "".join(
        chr(rng.choice((rng.randrange(32, 127), rng.randrange(0x11_0000)))) for _ in range(rng.randrange(60))
    )


@pytest.fixture(scope="module")
def links() -> list[str]:
    rng, numbers = random.Random(1906), np.random.default_rng(1906)
    keys = list(TABLE)
    queries = [to_query(random_chain(numbers)) for _ in range(400)]
    found = []
    for n in range(COUNT):
        kind = n % 10
        if kind < 5:
            query = rng.choice(queries)
            pieces = query.split("&")
            text = mutated(rng, "&".join(rng.sample(pieces, min(len(pieces), rng.randint(1, 6)))))
        elif kind < 9:
            text = made_up(rng, keys)
        else:
            text = noise(rng)
        front = rng.choice(("", "?", "http://workshop.local/x?", "https://room.example:1/a/b?", " /bass?"))
        found.append(front + text)
    huge = ["gate_r=" + "1" * 5000, "&" * 5000, "=" * 3999, "%" * 3999, "gate_r=1M&" * 390, "<b>=" * 900]
    huge.append("\ud800" * 4000)
    found[: len(huge)] = huge
    return found


def query_of(text: str) -> str | None:
    """The query part, found by other means than the code's; None where it is a matter of opinion what it is."""
    text = text.replace("\t", "").replace("\n", "").replace("\r", "").strip()
    head, question, rest = text.partition("?")
    if question and ("#" in head or "=" in head and not head.startswith("http")):
        return None
    if not question:
        rest = text
        if "://" in text or text.startswith("/") or "#" in text:
            return None
    return rest.partition("#")[0].replace("&amp;", "&")


def test_none_raises_and_every_key_is_held_exactly_or_reported(links: list[str]) -> None:
    assert len(links) == COUNT
    held = reported = judged = 0
    for text in links:
        chain, problems = read_link(text)
        assert type(chain) is SignalChain
        about = {problem.key for problem in problems}
        for problem in problems:
            assert problem.sentence.isprintable() and len(problem.sentence) < 900, problem
        query = query_of(text)
        if query is None or len(query) > 3000:
            continue
        judged += 1
        pieces = [piece for piece in query.split("&") if piece.strip()]
        assert "link" in about or all("=" in piece for piece in pieces), text
        for key, word in parse_qsl("&".join(piece for piece in pieces if "=" in piece), keep_blank_values=True):
            key = key.strip()
            if key in about:
                reported += 1
                continue
            assert key in TABLE or key in ("lesson", "seat"), (text, key)
            if key in TABLE:
                assert chain[key] == TABLE[key].read(word), (text, key)
                held += 1
        # and nothing is entered that the text does not name
        assert set(chain.entered) <= {key.strip() for key, _ in parse_qsl(query, keep_blank_values=True)}
    assert judged > 0.8 * COUNT and held > 0.2 * COUNT and reported > 0.5 * COUNT


def test_what_was_understood_has_a_link_of_its_own(links: list[str]) -> None:
    entered = 0
    for text in links[::5]:
        chain, _ = read_link(text)
        if chain.entered:
            entered += 1
            query = to_query(chain)
            assert read_link(query) == (chain, ())
            assert SAFE.fullmatch(query), query  # no markup gets into a chain
    assert entered > 0.04 * COUNT


def test_a_second_value_is_never_taken_for_the_first(links: list[str]) -> None:
    for text in links[:2000:7]:
        if "#" in text or "?" not in text or len(text) > 3000:
            continue
        first, _ = read_link(text)
        once_more = "&".join(f"{key}={TABLE[key].write(value)}" for key, value in first.entered.items())
        again, problems = read_link(f"{text}&{once_more}")
        assert again == first
        assert len(problems) >= len(first.entered)


@pytest.mark.parametrize("key", TABLE)
def test_each_payload_in_each_key(key: str) -> None:
    """Read as the setting reads it, or reported under its key: nothing between."""
    for payload in PAYLOADS:
        chain, problems = read_link(f"?{key}={quote(payload, safe='', errors='surrogatepass')}")
        try:
            wanted = TABLE[key].read(payload.translate({0xD800: 0xFFFD, 0xDFFF: 0xFFFD}))
        except ParameterError:
            assert [problem.key for problem in problems] == [key]
            assert chain == SignalChain()
        else:
            assert problems == () and chain[key] == wanted
