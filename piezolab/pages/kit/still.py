"""What a served chapter shows while the browser still fetches its machinery: the page's own verdict and a still picture
of its curve, as HTML in the page itself.

It is made from the page that the kernel has just built, so it says and draws the same; `page.js` takes it away when
the live plot is drawn in its place. A lesson has none, nor a page that opens with something else than its verdict.
"""

from __future__ import annotations

from html import escape
from typing import Any

from ipywidgets import VBox

from piezolab.pages.kit.still_svg import picture

#: The page's template writes an output of this kind into the page as it is.
MIME = "application/vnd.piezolab.still+html"
# as high as the buttons that will stand there
_ROOM = '<span class="pz-still-room" aria-hidden="true"><span class="pz-link">make it mine</span></span>'


class Still:
    """The still of a page: verdict and figure of `page` under its bar and the line that says whose chain it is."""

    def __init__(self, page: Any, bar: Any, opening: Any) -> None:
        self._page, self._bar, self._opening = page, bar, opening
        self.served = page.state.served

    def html(self) -> str:
        """Its HTML, all text escaped; "" where something is wrong with the chain."""
        page, figure = self._page, self._page.plot.shown
        if page.state.problems or page.state.trouble:
            return ""
        old = " pz-old" if page.verdict.old else ""
        return (
            f'<div id="still" class="pz-page">{self._ways()}'
            f'<div class="pz-opening"><span>{escape(self._opening.said)}</span>{_ROOM}</div>'
            f'<div class="pz-try"><div class="pz-still-stick"><div class="pz-block pz-verdict{old}">'
            f"<div class=\"pz-body\">{page.verdict.content}</div></div>{picture(*figure, page.plot.label)}</div>"
            '<p class="pz-hint" role="status">The controls come in a moment&nbsp;…</p></div></div>'
        )

    def _ways(self) -> str:
        """The bar of chapters as `ways.js` makes it."""
        bar = self._bar
        query = "?" + bar.query if bar.query else ""
        items = [f'<a href="{escape((way["slug"] or "./") + query)}">{escape(way["way"])}</a>' for way in bar.ways]
        items.insert(len(items) - (bar.ways[-1]["way"] == "next"), f"<span>{escape(bar.place)}</span>")
        return f'<nav id="still-bar" class="pz-slim" aria-label="chapters, above">{"".join(items)}</nav>'


class PageBox(VBox):
    """All parts of a page, one below the other; what the notebook holds of it in a served page is the still as well."""

    def __init__(self, parts: list[Any], still: Still | None) -> None:
        super().__init__(parts)
        self._still = still

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        bundle = super()._repr_mimebundle_(**kwargs)
        html = self._still.html() if self._still is not None and self._still.served else ""
        return bundle | {MIME: html} if html else bundle
