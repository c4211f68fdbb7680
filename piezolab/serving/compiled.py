"""Templates that are compiled once: Voila makes a new environment for each page, which would compile them all anew.

That took the server longer than all the rest of a page, and meanwhile nobody's slider was answered.
"""

from types import CodeType
from typing import Any

from jinja2.bccache import Bucket, BytecodeCache
from nbconvert.preprocessors import Preprocessor


class _Kept(BytecodeCache):
    """Keeps what was compiled in memory, by the template's name, place and text."""

    def __init__(self) -> None:
        self._codes: dict[tuple[str, str], CodeType | None] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self._codes.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        self._codes[bucket.key, bucket.checksum] = bucket.code


_kept = _Kept()


class CompiledOnce(Preprocessor):
    """Lets the exporter that it belongs to use what was compiled for others; the notebook stays as it is."""

    enabled = True

    def preprocess(self, nb: Any, resources: dict[str, Any]) -> tuple[Any, dict[str, Any]]:
        """Called before the exporter's first template is loaded."""
        self.parent.environment.bytecode_cache = _kept
        return nb, resources
