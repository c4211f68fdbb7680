"""Static files: only those of known folders, compressed once, kept by the browser for a year.

Their addresses carry a version, so that a new release is fetched although the old one is still kept.
"""

import gzip
import hashlib
import mimetypes
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from tornado.ioloop import IOLoop
from tornado.web import HTTPError

from ..faces import TEXT_FILES
from .error_pages import PlainErrors

mimetypes.add_type("text/javascript", ".js")
mimetypes.add_type("font/woff2", ".woff2")

#: What a page may ask for; source maps, notebooks and programs are not among it.
KINDS = {".js", ".css", ".woff", ".woff2", ".ttf", ".eot", ".svg", ".png", ".json", ".ico", ".txt"}
_COMPRESSED = {".js", ".css", ".svg", ".json", ".ttf", ".eot", ".txt"}


@dataclass(frozen=True)
class Asset:
    """One file's bytes, plain and compressed (None where that gains nothing)."""

    kind: str
    etag: str
    plain: bytes
    packed: bytes | None


class AssetFolder:
    """Files below some roots, read and compressed once.

    Parameters
    ----------
    roots : sequence of path
        Folders, the first that has a file wins.
    """

    def __init__(self, *roots: Path) -> None:
        self._roots = [root.resolve() for root in roots if root.is_dir()]
        self._read: dict[str, Asset] = {}

    def find(self, name: str) -> Path | None:
        """The file of that name, or None: also for anything outside the roots or of an unlisted kind."""
        relative = PurePosixPath(name)
        unsafe = relative.is_absolute() or relative.as_posix() != name or "\\" in name or "\0" in name or ":" in name
        if unsafe or any(part.startswith(".") for part in relative.parts) or relative.suffix not in KINDS:
            return None
        for root in self._roots:
            path = (root / relative).resolve()
            if path.is_relative_to(root) and path.is_file():
                return path
        return None

    def load(self, name: str) -> Asset | None:
        """The file's content, or None if there is none to give."""
        if name not in self._read:
            path = self.find(name)
            if path is None:
                return None
            plain = path.read_bytes()
            packed = gzip.compress(plain, 6) if path.suffix in _COMPRESSED and len(plain) > 1000 else None
            kind = mimetypes.guess_type(path.name)[0] or "application/octet-stream"
            if kind.startswith("text/"):
                kind += "; charset=utf-8"
            self._read[name] = Asset(kind, f'"{hashlib.sha256(plain).hexdigest()[:24]}"', plain, packed)
        return self._read[name]


def face_links(static: str) -> str:
    """What a page's head says about the type faces: text is fetched before the style sheets ask for it.

    static: address of the static files, with their version.
    """
    first = "".join(
        f'<link rel="preload" as="font" type="font/woff2" href="{static}/own/{name}" crossorigin>\n'
        for name in TEXT_FILES
    )
    return f'{first}<link rel="stylesheet" href="{static}/own/faces.css">\n'


def page_head(static: str, title: str, more: str = "") -> str:
    """A page that the server makes itself, up to its body.

    static: address of the static files, with their version; title: as HTML; more: what else its head says, in whole
    lines.
    """
    return f"""<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<link rel="icon" href="{static}/own/icon.svg" type="image/svg+xml">
{face_links(static)}<link rel="stylesheet" href="{static}/own/room.css">
{more}</head>
"""


class AssetHandler(PlainErrors):
    """Answers with one file of an `AssetFolder`."""

    def initialize(self, folder: AssetFolder) -> None:
        self._folder = folder

    async def get(self, name: str) -> None:
        asset = await IOLoop.current().run_in_executor(None, self._folder.load, name)
        if asset is None:
            raise HTTPError(404)
        self.set_header("Content-Type", asset.kind)
        self.set_header("Cache-Control", "public, max-age=31536000, immutable")
        self.set_header("Vary", "Accept-Encoding")
        self.set_header("Etag", asset.etag)
        if self.check_etag_header():
            self.set_status(304)
            return
        if asset.packed is not None and "gzip" in self.request.headers.get("Accept-Encoding", ""):
            self.set_header("Content-Encoding", "gzip")
            self.write(asset.packed)
        else:
            self.write(asset.plain)

    head = get
