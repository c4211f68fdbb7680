"""The share link: a chain as a query string, and back. Format 1.

Only what differs from the defaults is written, in the order of the table, so that equal chains give equal links. A link
instead of accounts: the whole chain fits into an address, and nothing has to be stored for a visitor.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote, unquote_plus

from piezolab.chain.parameter import ParameterError, short
from piezolab.chain.parameters import all_parameters
from piezolab.chain.problems import ChainError, Problem, unknown_key
from piezolab.chain.signal_chain import SignalChain, checked_leniently

MOST_CHARACTERS = 4000
MOST_PARTS = 200
PAGE_KEYS = frozenset({"lesson", "seat", "own"})  # words of the page's own that may stand beside a chain
DEFAULT_QUERY = "v=1"  # the default chain differs in nothing, but its link must not be an empty one

_BREAKS = str.maketrans("", "", "\t\n\r")  # mail programs break long links; browsers drop these too
_PLACE_ON_PAGE = re.compile(r"[A-Za-z][\w.-]*")


def to_query(chain: SignalChain) -> str:
    """The canonical query string, without `?`; empty for the default chain."""
    table = all_parameters()
    return "&".join(f"{key}={quote(table[key].write(value), safe=',')}" for key, value in chain.entered.items())


def whole_query(chain: SignalChain) -> str:
    """As `to_query`, but never empty: what stands in an address, where no query means "no chain"."""
    return to_query(chain) or DEFAULT_QUERY


def read_link(text: str) -> tuple[SignalChain, tuple[Problem, ...]]:
    """The chain that a link means, and the problems found; keys with a problem keep their defaults.

    Takes a whole address from any host, its query part with or without `?`, or nothing for the default chain. Never
    raises on any text. Each key in the text is either held by the chain or has a problem.
    """
    pairs, problems = _pairs(text)
    chain, more = _read(pairs)
    return chain, (*problems, *more)


def from_link(text: str) -> SignalChain:
    """As `read_link`, but raises ChainError where there is any problem."""
    return _sound(*read_link(text))


def read_texts(texts: Mapping[str, str]) -> SignalChain:
    """A chain from texts by key, as a maker would write the values. Raises ChainError."""
    return _sound(*_read(texts.items()))


def _sound(chain: SignalChain, problems: tuple[Problem, ...]) -> SignalChain:
    if problems:
        raise ChainError(problems)
    return chain


def _read(pairs: Iterable[tuple[str, str]]) -> tuple[SignalChain, tuple[Problem, ...]]:
    table = all_parameters()
    values: dict[str, Any] = {}
    problems: list[Problem] = []
    seen: set[str] = set()
    for key, word in pairs:
        if key in PAGE_KEYS:
            continue
        if key not in table:
            problems.append(Problem(key, unknown_key(key, table)))
        elif key in seen:
            said = f"{table[key].named}: {short(word, 40)!r} is a second value; allowed is one value for each key."
            problems.append(Problem(key, said))
        else:
            seen.add(key)
            try:
                values[key] = table[key].read(word)
            except ParameterError as error:
                problems.append(Problem(key, str(error)))
    chain, more = checked_leniently(values)
    return chain, (*problems, *more)


def _pairs(text: str) -> tuple[list[tuple[str, str]], list[Problem]]:
    text = text.translate(_BREAKS).strip()
    if len(text) > MOST_CHARACTERS:
        return [], [_problem(f"{len(text)} characters are too many; allowed is up to {MOST_CHARACTERS}.")]
    query, problems = _query(text)
    pieces = [piece for piece in query.replace("&amp;", "&").split("&") if piece.strip()]
    if len(pieces) > MOST_PARTS:
        return [], [_problem(f"{len(pieces)} parts are too many; allowed is one for each key.")]
    pairs = []
    for piece in pieces:
        key, equals, word = piece.partition("=")
        if equals:
            pairs.append((unquote_plus(key).strip(), unquote_plus(word)))
        else:
            problems.append(_problem(f"{short(piece, 40)!r} has no value; allowed is key=value, joined by '&'."))
    return pairs, problems


def _query(text: str) -> tuple[str, list[Problem]]:
    """The query part of an address (RFC 3986), or the text itself where it is no address."""
    whole, mark, place = text.partition("#")
    head, question, rest = whole.partition("?")
    if question and ("=" not in head or "/" in head.partition("=")[0]):
        query, address = rest, bool(head)
    else:
        address = not question and "=" not in head and ("://" in head or head.startswith("/"))
        query = "" if address else whole
    if not mark or address and (not place or _PLACE_ON_PAGE.fullmatch(place)):
        return query, []
    return query, [
        _problem(f"{short(mark + place, 40)!r} is not read; allowed is %23 for a sharp in a link, or s as in Fs3.")
    ]


def _problem(rest: str) -> Problem:
    return Problem("link", f"link: {rest}")
