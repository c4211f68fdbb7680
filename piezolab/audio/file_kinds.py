"""What a file is by its first bytes, and whether a WAV file holds what its header promises."""

from __future__ import annotations

import struct

from piezolab.audio import AudioError

_AGAIN = "Compressed sound has lost or levelled what is compared here; record as WAV or FLAC, automatic level off."

#: Where, what stands there, what it is called. RIFF and FLAC by their specifications, the others from memory.
_COMPRESSED = (
    (4, b"ftyp", "a phone's compressed recording (M4A or 3GP)"),
    (0, b"ID3", "an MP3 file"),
    (0, b"\xff\xfb", "an MP3 file"),
    (0, b"\xff\xf3", "an MP3 file"),
    (0, b"\xff\xf2", "an MP3 file"),
    (0, b"\xff\xf1", "an AAC file"),
    (0, b"\xff\xf9", "an AAC file"),
    (0, b"OggS", "an Ogg file (Vorbis or Opus)"),
    (0, b"#!AMR", "a phone's speech recording (AMR)"),
    (0, b"caff", "a CAF file"),
    (0, b"\x1aE\xdf\xa3", "a WebM or Matroska file"),
    (0, b"0&\xb2u", "a WMA file"),
)


def check_head(head: bytes, name: str) -> None:
    """Raises AudioError unless the first bytes are those of a WAV or FLAC file."""
    if (head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE") or head[:4] == b"fLaC":
        return
    for place, mark, what in _COMPRESSED:
        if head[place : place + len(mark)] == mark:
            raise AudioError(f"{name}: it is {what}; WAV and FLAC are allowed. {_AGAIN}")
    raise AudioError(f"{name}: this is no WAV or FLAC file; only these two are allowed.")


def cut_short(head: bytes, size: int) -> tuple[int, int]:
    """Bytes of sound that a WAV file's header promises beyond the file's end, and where its sound begins; 0 and 0 for
    any other, and where the header leaves it open (0 or the largest number, as recorders that were switched off write).

    head: its first bytes; size: of the whole file.
    """
    if head[:4] != b"RIFF":
        return 0, 0
    at = 12
    while at + 8 <= len(head):
        word, length = struct.unpack_from("<4sI", head, at)
        if word == b"data":
            return (0, 0) if length in (0, 0xFFFFFFFF) else (max(at + 8 + length - size, 0), at + 8)
        at += 8 + length + length % 2
    return 0, 0
