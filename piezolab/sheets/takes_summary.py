"""What recordings said, as a page to print and to keep with the instrument."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.link import whole_query
from piezolab.faces import embedded

_STYLE = """
@page { margin: 14mm 15mm; }
body { font: 10pt/1.35 "piezolab text", Arial, "Liberation Sans", Helvetica, sans-serif; max-width: 180mm;
  margin: 0 auto; padding: 4mm; color: #111; text-rendering: geometricPrecision; }
h1 { font-size: 18pt; margin: 0 0 1mm; }
h2 { font-size: 13pt; margin: 4mm 0 1mm; break-after: avoid; }
p, li { margin: 1.2mm 0; }
code { font-family: inherit; overflow-wrap: anywhere; }
table { border-collapse: collapse; margin: 2mm 0; break-inside: avoid; font-size: 9pt; }
caption { text-align: left; color: #444; }
th, td { text-align: left; border-bottom: 0.2mm solid #999; padding: 0.5mm 2.5mm 0.5mm 0; vertical-align: top; }
svg { width: 100%; height: auto; break-inside: avoid; }
.small { color: #444; font-size: 9pt; }
"""
NO_CERTIFICATE = "Intervals hold for what was recorded; the prediction is from typical data. No certificate."
_WIDE, _HIGH, _LEFT, _LOW, _TOP = 680, 270, 44, 30, 22  # px
_HZ = (20.0, 20e3)
_BLUE, _ORANGE = "#0072B2", "#D55E00"  # as on the screen


@dataclass(frozen=True)
class PaperCurve:
    """One curve of the page's figure. hz, db: shape (n,); half: half the interval, dB, (n,), None for a plain line."""

    name: str
    hz: np.ndarray
    db: np.ndarray
    half: np.ndarray | None = None


@dataclass(frozen=True)
class PaperPart:
    """A part of the summary. title; said: sentences; curves of its figure; tables: HTML that is escaped already."""

    title: str
    said: Sequence[str]
    curves: Sequence[PaperCurve] = ()
    tables: str = ""


def takes_summary(chain: SignalChain, parts: Sequence[PaperPart]) -> str:
    """The parts as a whole HTML document that needs nothing else."""
    body = "".join(_part(part) for part in parts)
    link = f"<p class='small'>The chain: <code>{escape(whole_query(chain))}</code></p>"
    return (
        '<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><title>Recordings against the prediction</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{embedded()}{_STYLE}</style></head><body><h1>Did it do what was predicted?</h1>"
        "<p class='small'>Instrument: ____________________ &nbsp; Date: ______________ &nbsp; By: ______________</p>"
        f"{link}{body}<p class='small'>{escape(NO_CERTIFICATE)}</p></body></html>"
    )


def _part(part: PaperPart) -> str:
    said = "".join(f"<p>{escape(sentence)}</p>" for sentence in part.said if sentence)
    drawn = figure_svg(part.curves) if part.curves else ""
    return f"<h2>{escape(part.title)}</h2>{said}{drawn}{part.tables}"


def figure_svg(curves: Sequence[PaperCurve]) -> str:
    """Level in dB over 20 Hz to 20 kHz: plain curves as lines, those with intervals as points, names beside them."""
    low = 5 * math.floor(min(float(curve.db.min()) for curve in curves) / 5 - 0.2)
    high = 5 * math.ceil(max(float(curve.db.max()) for curve in curves) / 5 + 0.2)

    def x(hz: np.ndarray | float) -> np.ndarray:
        return _LEFT + (_WIDE - _LEFT - 8) * np.log(np.asarray(hz) / _HZ[0]) / np.log(_HZ[1] / _HZ[0])

    def y(db: np.ndarray | float) -> np.ndarray:
        return _TOP + (_HIGH - _TOP - _LOW) * (high - np.clip(db, low, high)) / (high - low)

    out = []
    for hz in (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000):
        name = f"{hz // 1000}k" if hz >= 1000 else str(hz)
        out.append(_line(x(hz), _TOP, x(hz), _HIGH - _LOW, "#ccc") + _text(x(hz), _HIGH - _LOW + 13, name, "middle"))
    for db in range(low, high + 1, 5 if high - low <= 30 else 10):
        out.append(_line(_LEFT, y(db), _WIDE - 8, y(db), "#ccc"))
        out.append(_text(_LEFT - 5, y(db) + 4, f"{db}".replace("-", "−"), "end"))
    out.append(_text((_LEFT + _WIDE) / 2, _HIGH - 3, "frequency, Hz", "middle"))
    out.append(_text(_LEFT - 5, 13, "dB", "end"))
    for n, curve in enumerate(curves):
        out.append(_curve(curve, x, y))
        at, colour = _LEFT + 30 + 130 * n, _BLUE if curve.half is None else _ORANGE
        out.append(f'<rect x="{at - 16}" y="8" width="12" height="3" fill="{colour}"/>{_text(at, 13, curve.name)}')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE} {_HIGH}" role="img" font-size="11">'
        f"<title>{escape(', '.join(curve.name for curve in curves))}</title>{''.join(out)}</svg>"
    )


def _curve(curve: PaperCurve, x, y) -> str:
    across, down = x(curve.hz), y(curve.db)
    if curve.half is None:
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(across, down, strict=True))
        return f'<polyline points="{points}" fill="none" stroke="{_BLUE}" stroke-width="1.6"/>'
    ends = zip(across, down, y(curve.db - curve.half), y(curve.db + curve.half), strict=True)
    return "".join(
        _line(a, top, a, bottom, _ORANGE) + f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2.4" fill="{_ORANGE}"/>'
        for a, b, bottom, top in ends
    )


def _line(x1: float, y1: float, x2: float, y2: float, colour: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="1"/>'


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
