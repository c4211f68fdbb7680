"""Security headers, put on every response of the server whichever class answers."""

from tornado.httputil import HTTPHeaders, HTTPServerRequest
from tornado.web import OutputTransform

_FIXED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "SAMEORIGIN",
    # The address holds the visitor's chain: it stays here.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(self)",
}


def content_security_policy(nonce: str | None) -> str:
    """The policy of one response: nothing from outside, inline scripts only with this response's nonce.

    ``blob:`` scripts are how anywidget loads a widget's module; the front end's style sheets are inserted by
    its scripts, hence inline styles. Compiling text to a script ('unsafe-eval') is not needed.
    """
    own = f" 'nonce-{nonce}'" if nonce else ""
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src 'self' blob:{own}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "media-src 'self' data: blob:",
            "connect-src 'self'",
            "worker-src 'self' blob:",
            "object-src 'none'",
            "base-uri 'self'",
            "form-action 'self'",
            "frame-ancestors 'self'",
        )
    )


class SecurityHeaders(OutputTransform):
    """Tornado output transform that sets the headers; a handler leaves its nonce in ``request.nonce``, and in
    ``request.tells_nobody`` that its address is no other page's business."""

    def __init__(self, request: HTTPServerRequest) -> None:
        self._request = request

    def transform_first_chunk(
        self, status_code: int, headers: HTTPHeaders, chunk: bytes, finishing: bool
    ) -> tuple[int, HTTPHeaders, bytes]:
        for name, value in _FIXED.items():
            headers[name] = value
        if getattr(self._request, "tells_nobody", False):
            headers["Referrer-Policy"] = "no-referrer"
        headers["Content-Security-Policy"] = content_security_policy(getattr(self._request, "nonce", None))
        headers.pop("Server", None)
        return status_code, headers, chunk

    def transform_chunk(self, chunk: bytes, finishing: bool) -> bytes:
        return chunk
