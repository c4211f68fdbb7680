"""Templates that are compiled once: Voila makes a new environment for each page, which would compile them all anew.

That took the server longer than all the rest of a page, and meanwhile nobody's slider was answered.
"""

from types import CodeType
from typing import Any

from jinja2.bccache import Bucket, BytecodeCache
from traitlets.config import Configurable


class _Kept(BytecodeCache):
    """Keeps what was compiled in memory, by the template's name, place and text."""

    def __init__(self) -> None:
        self._codes: dict[tuple[str, str], CodeType | None] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self._codes.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        self._codes[bucket.key, bucket.checksum] = bucket.code


_kept = _Kept()


class CompiledOnce(Configurable):
    """Lets the exporter that it belongs to use what was compiled for others.

    It is one of the exporter's preprocessors, which are called before its first template is loaded; the notebook stays
    as it is.
    """

    def __call__(self, notebook: Any, resources: dict[str, Any]) -> tuple[Any, dict[str, Any]]:
        self.parent.environment.bytecode_cache = _kept
        return notebook, resources
