"""The share link: a chain as a query string, and back. Format 1.

Only what differs from the defaults is written, in the order of the table, so that equal chains give equal links.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl, quote, urlsplit

from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.chain.problems import ChainError, Problem, unknown_key
from piezolab.chain.signal_chain import SignalChain, checked_leniently

MOST_CHARACTERS = 4000
PAGE_KEYS = frozenset({"lesson", "seat"})  # words of the page's own that may stand beside a chain


def to_query(chain: SignalChain) -> str:
    """The canonical query string, without `?`; empty for the default chain."""
    table = all_parameters()
    return "&".join(f"{key}={quote(table[key].write(value), safe=',')}" for key, value in chain.entered.items())


def read_link(text: str) -> tuple[SignalChain, tuple[Problem, ...]]:
    """The chain that a link means, and the problems found; keys with a problem keep their defaults.

    Takes a whole address from any host, its query part with or without `?`, or nothing for the default chain. Never raises
    on any text.
    """
    pairs, problems = _pairs(text)
    table = all_parameters()
    values: dict[str, Any] = {}
    for key, word in pairs:
        if key in PAGE_KEYS:
            continue
        if key not in table:
            problems.append(Problem(key, unknown_key(key, table)))
        elif key in values:
            problems.append(
                Problem(key, f"{table[key].label}: {_short(word)!r} is a second value; allowed is one value for each key.")
            )
        else:
            try:
                values[key] = table[key].read(word)
            except ParameterError as error:
                problems.append(Problem(key, str(error)))
    chain, more = checked_leniently(values)
    return chain, (*problems, *more)


def from_link(text: str) -> SignalChain:
    """As `read_link`, but raises ChainError where there is any problem."""
    chain, problems = read_link(text)
    if problems:
        raise ChainError(problems)
    return chain


def read_texts(texts: Mapping[str, str]) -> SignalChain:
    """A chain from texts by key, as a maker would write the values. Raises ChainError."""
    return from_link("&".join(f"{key}={quote(text, safe='')}" for key, text in texts.items()))


def _pairs(text: str) -> tuple[list[tuple[str, str]], list[Problem]]:
    text = text.strip()
    if len(text) > MOST_CHARACTERS:
        return [], [Problem("link", f"link: {len(text)} characters are too many; allowed is up to {MOST_CHARACTERS}.")]
    if "?" in text:
        text = text.split("?", 1)[1]
    elif "://" in text or text.startswith("/"):
        try:
            text = urlsplit(text).query
        except ValueError:
            return [], [Problem("link", f"link: {_short(text)!r} is not an address; allowed is a link or its part after '?'.")]
    text = text.split("#", 1)[0]
    problems: list[Problem] = []
    for piece in text.split("&"):
        if piece and "=" not in piece:
            problems.append(
                Problem("link", f"link: {_short(piece)!r} has no value; allowed is key=value, joined by '&'.")
            )
    try:
        pairs = parse_qsl(text, keep_blank_values=True, max_num_fields=200)
    except ValueError:
        return [], [Problem("link", "link: it has more than 200 parts; allowed is one for each key.")]
    return [(key, word) for key, word in pairs if (f"{key}=" in text or word)], problems


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 40 else text[:37] + "..."
