"""A page in a real browser, with what went over its lines and into its console."""

import re

from tests.serving.live import LiveServer

#: A page may take long on a computer that is busy with other things; how long is no matter of these tests.
WAIT_MS = 60_000


class Page:
    """A page in a browser context of its own, which keeps what went over the network and into the console."""

    def __init__(self, browser, server: LiveServer, **options) -> None:
        self.server = server
        self.context = browser.new_context(**options)
        self.page = self.context.new_page()
        self.requests: list = []
        self.problems: list[str] = []
        self.frames: list = []
        self.page.on("request", lambda request: self.requests.append(request))
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.problems.append(str(error)))
        self.page.on(
            "websocket", lambda line: line.on("framereceived", lambda frame: self.frames.append(frame))
        )

    def _heard(self, message) -> None:
        if message.type == "error":
            self.problems.append(message.text)

    def open(self, path: str = "does-it-move", drawn: bool = True) -> "Page":
        """Go to a page and, where it has a plot, wait until that is drawn."""
        self.page.goto(self.server.url + path)
        if drawn:
            self.drawn()
        return self

    def drawn(self, revision: int | None = None) -> None:
        """Wait until the plot is drawn, at that revision or a later one."""
        self.page.wait_for_function(
            """wanted => {
                const plot = document.querySelector(".piezolab-plot[data-state=drawn]");
                return plot && (wanted === null || Number(plot.dataset.revision) >= wanted);
            }""",
            arg=revision,
            timeout=WAIT_MS,
        )

    @property
    def revision(self) -> int:
        """Revision of the figure on the screen."""
        return int(self.page.locator(".piezolab-plot").first.get_attribute("data-revision"))

    def curve(self) -> list[float]:
        """The first curve's y values on the screen."""
        return self.page.evaluate("Array.from(document.querySelector('.js-plotly-plot')._fullData[0].y)")

    def slide(self, key: str = "ArrowRight") -> None:
        """Press a key on the slider and wait for the curve that follows."""
        before = self.revision
        self.page.locator(".noUi-handle").first.focus()
        self.page.keyboard.press(key)
        self.drawn(before + 1)

    def close(self) -> None:
        self.context.close()


def contrast(one: str, two: str) -> float:
    """Contrast ratio of two CSS colours, as WCAG 2.2 defines it (relative luminance, sRGB)."""

    def luminance(colour: str) -> float:
        if colour.startswith("#"):
            parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
        else:
            parts = [int(float(word)) for word in re.findall(r"[\d.]+", colour)[:3]]
        linear = [c / 12.92 if (c := p / 255) <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)
