"""Built from the paper alone: a stranger who has only the printed words joins what they say: the chain's circuit.

Nothing but text of the sheet is read: the list of leads with its addresses, the cuts, the links, the list of tape, the
parts with their values. What stripboard, breadboard and tape join by themselves is said here anew. `PIEZOLAB_LONG=1`
builds 200 random chains on every kind of board; else a seeded few, each on one kind.
"""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser

import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.link import from_link
from piezolab.chain.parts import GROUND, Part
from piezolab.quantity import parse
from piezolab.sheets.board_pages import numbered, to_cut
from piezolab.sheets.build_sheet import build_sheet
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board.layout import METHODS
from piezolab.studies.board_as_built import BoardAsBuilt
from tests.studies.board.test_random_boards import drawn

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
LINKS = {
    "stripboard": "stage=gain&return=tap&bypass_part=0.7",
    "wire": "return=divider&gate_stop=1k",
    "tape": "gate_r=100M",
    "breadboard": "source_r=0&out_c=100u&supply=adapter",
}

Net = tuple[str, ...]  # a piece of copper


# -- the reader --------------------------------------------------------------------------------------------------------
class Paper(HTMLParser):
    """The words of a printed page: rows of its tables, and every other line of text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.lines: list[str] = [""]
        self._cell = False
        self._hidden = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attributes: object) -> None:
        self._hidden += tag in ("title", "desc", "style")
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self._cell = True
        elif tag in ("p", "li", "h2", "text"):
            self.lines.append("")

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("title", "desc", "style")
        if tag in ("td", "th"):
            self._cell = False

    def handle_data(self, data: str) -> None:
        if self._hidden:
            return
        if self._cell:
            self.rows[-1][-1] += data
        else:
            self.lines[-1] += data

    def table(self, *heads: str) -> list[dict[str, str]]:
        """Rows under a head that begins with these words, by head."""
        found: list[dict[str, str]] = []
        names: list[str] = []
        for row in self.rows:
            if [cell for cell in row if cell][: len(heads)] == list(heads):
                names = row
            elif names and len(row) == len(names):
                found.append(dict(zip(names, row, strict=True)))
            else:
                names = []
        return found

    def said(self, pattern: str) -> list[str]:
        """What stands in the place of the pattern's group, in any line."""
        return [match[1] for line in self.lines if (match := re.search(pattern, line))]


@dataclass
class Copper:
    """What joins by itself on one kind of board, by the words of a place. cuts: holes; links: pairs of places."""

    method: str
    cuts: list[tuple[str, int]] = field(default_factory=list)
    links: list[tuple[str, str]] = field(default_factory=list)

    def piece(self, where: str, strip: str) -> Net:
        """The piece of copper at a place; strip: the name in the lane's column, which counts on tape alone."""
        if self.method == "tape":
            return (strip,)
        if self.method == "breadboard":
            if "rail" in where:
                return (where.partition(",")[0],)
            row, hole = re.fullmatch(r"(\d+)([a-j])", where).groups()
            return row, "left" if hole in "abcde" else "right"
        letters, column = re.fullmatch(r"([A-Z]+)(\d+)", where).groups()
        assert (letters, int(column)) not in self.cuts, "a lead in the hole that is cut away"
        return letters, str(sum(cut < int(column) for strip_, cut in self.cuts if strip_ == letters))


def copper(paper: Paper, method: str) -> Copper:
    """Cuts and links as the paper tells them."""
    made = Copper(method)
    for places in paper.said(r"^Cut the strip at ([A-Z0-9, ]+) before"):
        made.cuts += [(re.match("[A-Z]+", place)[0], int(re.search(r"\d+", place)[0])) for place in places.split(", ")]
    for links in paper.said(r"^Links: (.*)\.$"):
        made.links += [tuple(link.split(" to ")) for link in links.split("; ")]
    return made


def nets(paper: Paper, method: str) -> dict[str, list[tuple[str, int]]]:
    """Name of each part or wire -> (mark of a lead, number of the net it is in), as somebody builds it."""
    board, joined = copper(paper, method), {}

    def net(piece: Net) -> Net:
        while joined.get(piece, piece) != piece:
            piece = joined[piece]
        return piece

    for one, other in board.links:
        joined[net(board.piece(one, ""))] = net(board.piece(other, ""))
    found, numbers = defaultdict(list), {}
    rows = paper.table("no.", "lead", "lane")
    assert [row["no."] for row in rows] == [str(n) for n in range(1, len(rows) + 1)]
    where = list(rows[0])[4]
    for row in rows:
        name, _, mark = row["lead"].partition(" ")
        if name in ("batt", "socket"):
            name, mark = f"supply {mark}", ""
        piece = net(board.piece(row[where], row["lane"]))
        found[name].append((mark, numbers.setdefault(piece, len(numbers))))
    return found


# -- what must come out ------------------------------------------------------------------------------------------------
def wanted(chain: SignalChain) -> dict[str, Part | tuple[str, ...]]:
    """The chain's parts by the name on the paper, and the node of each wire that leaves the board."""
    assembly = assemble(chain.values)
    found: dict[str, Part | tuple[str, ...]] = {
        part.name.replace("_", ""): part for part in assembly.where("board", "supply")
        if part.kind in ("resistor", "capacitor", "clamp", "jfet")
    }  # fmt: skip
    battery = next(part for part in assembly.parts if part.kind == "battery")
    return found | {
        "pickup": ("pickup",), "screen": (GROUND,), "tip": (assembly.jack,), "sleeve": (GROUND,),
        "supply +": battery.nodes[:1], "supply −": battery.nodes[1:],
    }  # fmt: skip


def differences(found: Mapping[str, list[tuple[str, int]]], chain: SignalChain) -> list[str]:
    """Where what was built is not the chain's network."""
    parts = wanted(chain)
    if found.keys() != parts.keys():
        return [f"not both built and in the chain: {sorted(found.keys() ^ parts.keys())}"]
    net_of: dict[str, int] = {}
    wrong: list[str] = []

    def know(node: str, net: int, name: str) -> bool:
        if node in net_of and net_of[node] != net:
            wrong.append(f"{name}: {node} is in two pieces")
        return net_of.setdefault(node, net) == net

    plain = []
    for name, part in parts.items():
        leads = found[name]
        nodes = part if isinstance(part, tuple) else part.nodes
        if len(leads) != len(nodes):
            wrong.append(f"{name} has {len(leads)} leads")
        elif len(nodes) == 3:
            marks = dict(leads)
            for mark, node in zip("DGS", nodes, strict=True):
                know(node, marks[mark], name)
        elif len(nodes) == 1:
            know(nodes[0], leads[0][1], name)
        elif {mark for mark, _ in leads} == {"+", "−"}:
            for mark, node in zip("+−", nodes, strict=True):
                know(node, dict(leads)[mark], name)
        else:
            plain.append((name, nodes, [net for _, net in leads]))
    while plain:  # either way round: the known end tells the other
        at = next((n for n, (_, nodes, _) in enumerate(plain) if set(nodes) & net_of.keys()), None)
        if at is None:
            return [*wrong, f"hangs nowhere: {[name for name, *_ in plain]}"]
        name, (a, b), (one, other) = plain.pop(at)
        if a not in net_of:
            a, b = b, a
        if net_of[a] not in (one, other):
            wrong.append(f"{name} is not at {a}")
            continue
        know(b, other if net_of[a] == one else one, name)
    of_net = defaultdict(set)
    for node, net in net_of.items():
        of_net[net].add(node)
    return wrong + [f"joined: {sorted(nodes)}" for nodes in of_net.values() if len(nodes) > 1]


def tape_faults(paper: Paper) -> list[str]:
    """Leads that would lie beside their strip of tape, as listed."""
    strips = {row["strip"]: row for row in paper.table("strip", "length")}
    wrong = []
    for row in paper.table("no.", "lead", "lane"):
        at = float(row["from the left edge"].removesuffix(" mm"))
        left, length = (
            float(strips[row["lane"]][head].removesuffix(" mm")) for head in ("left edge at", "length")
        )
        if not left <= at <= left + length:
            wrong.append(f"{row['lead']} at {at} mm of {row['lane']}")
    return wrong


def built(chain: SignalChain, method: str) -> list[str]:
    """What goes wrong when the pages beside the work are followed."""
    data = SheetData(chain, BoardAsBuilt(method=method))
    cut = to_cut(data, data.layout)
    paper = Paper(numbered(data, data.layout).html + (cut.html if cut else ""))
    return differences(nets(paper, method), chain) + (tape_faults(paper) if method == "tape" else [])


# -- the trial ---------------------------------------------------------------------------------------------------------
def test_random_chains_can_be_built_from_their_paper() -> None:
    count, methods = 0, tuple(METHODS)
    for chain in drawn(200 if LONG else 20):
        if not chain.topology.powered:
            continue
        for method in methods if LONG else (methods[count % len(methods)],):
            assert built(chain, method) == [], (chain, method)
        count += 1
    assert count >= 8


@cache
def whole(method: str) -> str:
    return build_sheet(from_link(LINKS[method]), BoardAsBuilt(method=method, lettering="usual"))


@pytest.mark.parametrize("method", METHODS)
def test_a_whole_sheet_answers_who_has_no_screen(method: str) -> None:
    """What goes where, in which order; which value; which strip first and how long; where does the third leg go; what
    must not touch."""
    chain, paper = from_link(LINKS[method]), Paper(whole(method))
    assert differences(nets(paper, method), chain) == []
    values = {row["part"]: row["value"] for row in paper.table("part", "what", "value")}
    for name, part in wanted(chain).items():
        if isinstance(part, Part) and part.kind != "jfet":
            unit = "ohm" if part.kind == "resistor" else "F"
            assert parse(values[name], unit) == pytest.approx(float(part.value), rel=0.11), name
    legs = [row["lead"] for row in paper.table("no.", "lead", "lane") if row["lead"].startswith("Q1")]
    assert sorted(legs) == ["Q1 D", "Q1 G", "Q1 S"] and any("flat face towards you" in line for line in paper.lines)
    assert any("from lane to lane" in line and "may" in line for line in paper.lines)
    shown = {line.strip() for line in paper.lines}
    assert {str(n + 1) for n in range(len(paper.table("no.", "lead", "lane")))} <= shown, "numbers in the drawing"
    if method == "tape":
        assert tape_faults(paper) == [] and len(paper.table("strip", "length")) == 5
        assert paper.said(r"(bridge them with solder: the adhesive does not conduct)")
    else:
        assert any(re.search(r"^(C7 is (strip|row) C, column 7|7c is row 7, hole c)", line) for line in paper.lines)


# -- that it can fail --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("method", "old", "new"),
    [
        ("stripboard", "Cut the strip at", "Do not cut at"),
        ("stripboard", r"(<th>Q1 S</th><td>\w+</td><td class=\"nowrap\">)[A-Z]+", r"\g<1>H"),
        ("wire", r"(<th>RG</th><td>divider</td><td class=\"nowrap\">)[A-Z]+", r"\g<1>A"),
        ("wire", r"<th>Q1 D</th>(.*?)<th>Q1 S</th>", r"<th>Q1 S</th>\1<th>Q1 D</th>"),
        ("wire", r"<th>Cout \+</th>(.*?)<th>Cout −</th>", r"<th>Cout −</th>\1<th>Cout +</th>"),
        ("tape", r"(<th>RG</th>)<td>ground</td>", r"\1<td>source</td>"),
        ("breadboard", r"Links: [^;]*; ", "Links: "),
        ("breadboard", r"left − rail, by row 11", "left + rail, by row 11"),
    ],
)
def test_a_wrong_word_builds_another_circuit(method: str, old: str, new: str) -> None:
    wrong, count = re.subn(old, new, whole(method), count=1, flags=re.DOTALL)
    assert count == 1
    chain = from_link(LINKS[method])
    if method == "stripboard" and "cut" in new:  # the rest of the strip put to use
        strip = re.search(r"Cut the strip at ([A-Z]+)", whole(method))[1]
        wrong = re.sub(r"(<th>tip</th><td>jack tip</td><td class=\"nowrap\">)[A-Z]+", rf"\g<1>{strip}", wrong)
    assert differences(nets(Paper(wrong), method), chain)


def test_a_lead_beside_its_tape_is_seen() -> None:
    assert tape_faults(Paper(whole("tape").replace("<td>jack tip</td><td>9 mm</td>", "<td>jack tip</td><td>2 mm</td>")))
