"""A printed sheet looked at by rule: nothing cut, nothing overlapping, no lettering under two millimetres.

The rules read what a browser makes of the page in print; they know nothing of how it was drawn.
"""

from __future__ import annotations

from typing import Any

INCH = 25.4
PAPER_MM = (190.0, 259.0)  # what both A4 and US Letter leave within the margins, wide and high
LEAST_MM, LEAST_LARGE_MM = 2.0, 3.8
LEAST_BOARD_MM = 1.9  # a board's drawing at its true size

_RULES = """({high, least, large, board}) => {
  const MM = 25.4 / 96, out = [];
  const say = (words, e) => out.push(words + ': ' + (e.textContent || e.tagName).slice(0, 50));
  const box = (e) => e.getBoundingClientRect();
  const shown = (b) => b.width > 0 && b.height > 0;
  const flows = !!document.querySelector('.sheet.large');
  for (const sheet of document.querySelectorAll('.page')) {
    const frame = box(sheet);
    if (!flows && frame.height * MM > high) out.push('a page is ' + (frame.height * MM).toFixed(1) + ' mm high');
    for (const e of sheet.querySelectorAll('*')) {
      const b = box(e);
      if (shown(b) && (b.right > frame.right + 1 || b.left < frame.left - 1)) say('beyond the page', e);
      if (flows && e.matches('tr, li, svg') && b.height * MM > high) say('higher than a page', e);
    }
  }
  for (const cell of document.querySelectorAll('td, th, .scroll'))
    if (cell.scrollWidth > cell.clientWidth + 1) say('cut in its cell', cell);
  // lettering: size, cut, overlap
  const walk = document.createTreeWalker(document.querySelector('.sheet'), NodeFilter.SHOW_TEXT);
  for (let n = walk.nextNode(); n; n = walk.nextNode()) {
    const e = n.parentElement;
    if (!n.textContent.trim() || e.closest('svg, title, desc')) continue;
    const size = parseFloat(getComputedStyle(e).fontSize) * MM;
    if (size < (flows ? large : least) - 0.005) say('lettering of ' + size.toFixed(2) + ' mm', e);
  }
  for (const svg of document.querySelectorAll('.sheet svg')) {
    const s = box(svg), texts = [...svg.querySelectorAll('text')].filter((t) => shown(box(t)));
    const own = svg.classList.contains('layout') || svg.classList.contains('copper');
    for (const t of texts) {
      const b = box(t), m = t.getScreenCTM(), scale = Math.hypot(m.a, m.b);
      const size = parseFloat(getComputedStyle(t).fontSize) * scale * MM;
      if (size < (own ? board : least) - 0.005) say('lettering of ' + size.toFixed(2) + ' mm', t);
      if (b.left < s.left - 1 || b.right > s.right + 1 || b.top < s.top - 1.5 || b.bottom > s.bottom + 1.5)
        say('lettering cut', t);
    }
    if (own) continue;  // the board's inspector judges its lettering
    const inner = (t) => {
      const b = box(t), up = Math.abs(t.getScreenCTM().b) > Math.abs(t.getScreenCTM().a);
      const h = 0.22 * (up ? b.width : b.height);  // a line's box is taller than its letters
      return up ? [b.left + h, b.top, b.right - h, b.bottom] : [b.left, b.top + h, b.right, b.bottom - h];
    };
    const boxes = texts.map(inner);
    boxes.forEach((a, i) => boxes.slice(i + 1).forEach((c, j) => {
      if (Math.min(a[2], c[2]) - Math.max(a[0], c[0]) > 0.5 && Math.min(a[3], c[3]) - Math.max(a[1], c[1]) > 0.5)
        out.push('lettering overlaps: ' + texts[i].textContent + ' / ' + texts[i + 1 + j].textContent);
    }));
    for (const wire of svg.querySelectorAll('.wire')) {
      const m = wire.getScreenCTM(), whole = wire.getTotalLength(), step = 1 / Math.hypot(m.a, m.b);
      for (let at = 0; at <= whole; at += step) {
        const p = wire.getPointAtLength(at).matrixTransform(m);
        const hit = boxes.findIndex((b) => p.x > b[0] && p.x < b[2] && p.y > b[1] && p.y < b[3]);
        if (hit >= 0) { out.push('a wire through lettering: ' + texts[hit].textContent); break; }
      }
    }
  }
  return out;
}"""


def faults(page: Any, html: str) -> list[str]:
    """What a browser's page, as wide as the paper, shows wrong with a document in print."""
    page.set_viewport_size({"width": round(PAPER_MM[0] / INCH * 96), "height": 900})
    page.emulate_media(media="print")
    page.set_content(html)
    page.evaluate("() => document.fonts.ready.then(() => 0)")
    limits = {"high": PAPER_MM[1], "least": LEAST_MM, "large": LEAST_LARGE_MM, "board": LEAST_BOARD_MM}
    return page.evaluate(_RULES, limits)
