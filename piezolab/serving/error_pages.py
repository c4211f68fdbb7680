"""What a visitor reads when something goes wrong: one plain sentence, never a traceback."""

from html import escape
from typing import Any

from tornado.web import HTTPError, RequestHandler

_SENTENCES = {
    400: "The server did not understand this request.",
    403: "This page belongs to another visitor, or its address is not meant to be opened by hand.",
    404: "There is no page at this address.",
    405: "This address cannot be used that way.",
    414: "This link is too long to be one of ours. Ask for it again, or paste the configuration as text.",
    413: "This is longer than anything our pages send.",
    421: "This server answers to its own address only. Behind a proxy, start it with its public address.",
    429: "That was a lot at once. Wait a few seconds; this page then tries again by itself.",
    503: "All seats are taken. This page tries again by itself; you will get in as soon as one is free.",
}
_OTHER = "Something went wrong on the server. Your chain is kept in the address: try again in a moment."

_TITLES = {404: "Not here", 414: "Too long a link", 429: "One moment", 503: "The room is full"}

_PAGE = """<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
{retry}<style>
:root {{ color-scheme: light dark; }}
body {{ font: 1.1rem/1.5 system-ui, sans-serif; max-width: 34rem; margin: 12vh auto 0; padding: 0 1rem; }}
</style>
</head>
<body><main><h1>{title}</h1><p>{sentence}</p><p><a href="{home}">All chapters</a></p></main></body>
</html>
"""


class NoSpace(HTTPError):
    """No page can be made, since the disk is full."""

    title = "No space"
    sentence = "The disk of the computer that serves this page is full. Its owner has been told; this page tries again."

    def __init__(self) -> None:
        super().__init__(503)


def error_page(status: int, home: str, problem: BaseException | None = None) -> str:
    """A whole page for an HTTP status, or for a problem that has its own words.

    home: address of the start page.
    """
    title = _TITLES.get(status, "That did not work")
    retry = '<meta http-equiv="refresh" content="10">\n' if status in (429, 503) else ""
    sentence = _SENTENCES.get(status, _OTHER)
    if isinstance(problem, NoSpace):
        title, sentence = problem.title, problem.sentence
    return _PAGE.format(title=title, retry=retry, sentence=escape(sentence), home=escape(home, quote=True))


class PlainErrors(RequestHandler):
    """Base of all our handlers: errors are a plain page, whatever a parent class would have shown."""

    def write_error(self, status_code: int, **kwargs: Any) -> None:
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        if status_code in (429, 503):
            self.set_header("Retry-After", "10")
        problem = kwargs.get("exc_info", (None, None, None))[1]
        self.finish(error_page(status_code, self.settings["base_url"], problem))


class NotFound(PlainErrors):
    """Whatever no other handler knows."""

    _status = 404

    def prepare(self) -> None:
        self.send_error(self._status)


class WrongHost(NotFound):
    """Whoever calls this computer by a name that is not its own."""

    _status = 421
