"""Label values from text that a controller told: escaped, one line, bounded, and still different where it differed."""

from __future__ import annotations

from functools import lru_cache
from hashlib import sha256

from collector.text import plain

LONGEST = 200
"""Characters of a label value."""
_MARK = 17
"""Characters of the mark that stands for what was cut or replaced: a tilde and 16 hexadecimal digits."""


def label_text(text: str) -> str:
    """The text itself where it is short and can be seen; else what can be seen of it, and a digest of all of it."""
    if len(text) <= LONGEST and plain(text, LONGEST) == text:
        return text
    digest = sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[: _MARK - 1]
    return f"{plain(text, LONGEST - _MARK)}~{digest}"


@lru_cache(maxsize=1 << 16)
def label_value(text: str) -> str:
    """A label's value ready to stand between quotes (OpenMetrics 1.0: backslash, quote and line feed are escaped)."""
    safe = label_text(text)
    if "\\" in safe or '"' in safe:
        safe = safe.replace("\\", r"\\").replace('"', r"\"")
    return safe
