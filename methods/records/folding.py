"""The form in which words are looked up: lower case, no accents, punctuation as single spaces."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from methods.records.cells import normalise

_PLAIN = str.maketrans({"ł": "l", "ı": "i", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe"})
_STROKE = re.compile(r"(?<=\w)ø|ø(?=\w)")


@lru_cache(maxsize=50_000)
def fold(text: str) -> str:
    """Lower case, no accents, punctuation as single spaces: the form in which words are looked up."""
    plain = _STROKE.sub("o", normalise(text).casefold().translate(_PLAIN))
    spread = unicodedata.normalize("NFKD", plain)
    bare = "".join(c for c in spread if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^\w]|_", " ", bare).split())
