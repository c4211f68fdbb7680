"""A file that arrives in slices and is read like one on disk, without ever being on one."""

from __future__ import annotations

import io

from piezolab.audio import AudioError

_HEAD = 4096  # bytes kept of the beginning, whatever is dropped


class Slices:
    """The bytes of one file in the order in which they came; see the module. What was dropped reads as an error."""

    def __init__(self, *parts: bytes) -> None:
        self._parts: list[bytes] = []
        self._starts: list[int] = []
        self._at = self.size = self._dropped = 0
        #: The first bytes.
        self.head = b""
        for part in parts:
            self.add(part)

    def add(self, part: bytes) -> None:
        """The next slice."""
        part = bytes(part)
        if not part:
            return
        self._parts.append(part)
        self._starts.append(self.size)
        self.size += len(part)
        if len(self.head) < _HEAD:
            self.head = (self.head + part)[:_HEAD]

    def drop_read(self) -> None:
        """Forget the slices before the place that is read."""
        while self._dropped < len(self._parts) - 1 and self._starts[self._dropped + 1] <= self._at:
            self._parts[self._dropped] = b""
            self._dropped += 1

    @property
    def held(self) -> int:
        """Bytes that are still there."""
        return sum(map(len, self._parts))

    # -- as a file ----------------------------------------------------------------------------------------------
    def seek(self, place: int, whence: int = io.SEEK_SET) -> int:
        """As of a file; never before its beginning."""
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self.size}[whence]
        self._at = max(base + place, 0)
        return self._at

    def tell(self) -> int:
        """As of a file."""
        return self._at

    def read(self, count: int = -1) -> bytes:
        """As of a file. Raises AudioError where slices were dropped."""
        end = self.size if count < 0 else min(self._at + count, self.size)
        found = []
        n = self._slice_at(self._at)
        while self._at < end:
            if n < self._dropped:
                raise AudioError("file: what was read once is gone; choose the file again.")
            part, start = self._parts[n], self._starts[n]
            piece = part[self._at - start : end - start]
            found.append(piece)
            self._at += len(piece)
            n += 1
        return b"".join(found)

    def _slice_at(self, place: int) -> int:
        from bisect import bisect_right

        return max(bisect_right(self._starts, place) - 1, 0)
