"""Labels of summaries: what ``Mittelwert aus 6``, ``śr.``, ``St. dev.`` or ``平均値`` stands for."""

from __future__ import annotations

import re
import tomllib
from functools import cache, lru_cache
from importlib.resources import files

from methods.records.cells import normalise
from methods.records.folding import fold

#: Labels of one sign, before letters and accents are brought to one form.
_SIGNS = {
    "ø": "mean", "⌀": "mean", "∅": "mean", "x̄": "mean", "x̅": "mean", "µ": "mean", "μ": "mean", "σ": "sd", "±": "sd",
    "∑": "total",
}  # fmt: skip
#: Single letters that name a summary only where a number is expected.
_LETTERS = {"s": "sd", "n": "count", "x": "mean", "r": "range", "w": "range"}
_MOST_TOKENS = 8
#: A label with one of these is a name of something.
_STRANGE = re.compile(r"[{}@$^~|\\_<>?!]|%\w")
_WORD = re.compile(r"[^\W_]+")


@cache
def _lists() -> tuple[dict[tuple[str, ...], str], frozenset[str]]:
    held = tomllib.loads(files("methods.records").joinpath("summaries.toml").read_text(encoding="utf-8"))
    phrases = {tuple(fold(w).split()): kind for kind, words in held["kinds"].items() for w in words}
    phrases.pop((), None)
    return phrases, frozenset(t for w in held["fillers"]["words"] for t in fold(w).split())


@cache
def _starts() -> dict[str, list[tuple[tuple[str, ...], str]]]:
    out: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    for phrase, kind in _lists()[0].items():
        out.setdefault(phrase[0][0], []).append((phrase, kind))
    return out


@lru_cache(maxsize=1)
def phrases() -> dict[str, str]:
    """Every word that names a summary, folded, and what it names."""
    return {" ".join(phrase): kind for phrase, kind in _lists()[0].items()}


@lru_cache(maxsize=20_000)
def summary_kind(text: str, number_expected: bool = False) -> str | None:
    """What a label sums up: ``mean``, ``sd``, ``min``, ``max``, ``range``, ``cov``, ``median``, ``count``, ``total``
    or ``limit``; None for any other text.

    A label is a summary's name, perhaps shortened with a full stop, with nothing but numbers, units and words such as
    ``of`` beside it. ``number_expected``: the label stands where others are numbers, so that one letter is enough.
    """
    clean = normalise(text).strip()
    if not clean or len(clean) > 48:
        return None
    low = clean.casefold()
    if _STRANGE.search(clean):
        return None
    for sign, kind in _SIGNS.items():
        if low.startswith(sign.casefold()) and _only_fillers(low[len(sign) :]):
            return kind
    words = [(fold(m[0]), clean[m.end() : m.end() + 1] == ".") for m in _WORD.finditer(clean)]
    words = [(w, dotted) for f, dotted in words for w in f.split()]
    if not 1 <= len(words) <= _MOST_TOKENS:
        return None
    if len(words) == 1 and len(words[0][0]) == 1 and words[0][0].isascii():
        told = clean.rstrip().endswith((":", "=")) or number_expected
        return _LETTERS.get(words[0][0]) if told else None
    best: tuple[int, int, str] | None = None
    for at in range(len(words)):
        for size, kind in _matches(words, at):
            if best is None or size > best[0]:
                best = (size, at, kind)
    if best is None:
        return None
    size, at, kind = best
    if size > 1 and all(len(w) == 1 and w.isascii() for w, _ in words[at : at + size]):  # s.d., c. v.
        spelled = r"[. ]{1,2}".join(w for w, _ in words[at : at + size])
        if not re.search(rf"(?<!\w){spelled}(?!\w)", low):
            return None
    rest = [w for w, _ in (*words[:at], *words[at + size :])]
    if kind in ("count", "total") and size == 1 and len(words[at][0]) <= 2 and rest:
        return None
    fillers = _lists()[1]
    return kind if all(w in fillers or w.isdecimal() for w in rest) else None


def _matches(words: list[tuple[str, bool]], at: int) -> list[tuple[int, str]]:
    out = []
    for phrase, kind in _starts().get(words[at][0][:1], []):
        held = words[at : at + len(phrase)]
        if len(held) == len(phrase) and all(
            _same(p, w, d, len(phrase)) for p, (w, d) in zip(phrase, held, strict=True)
        ):
            out.append((len(phrase), kind))
    return out


def _same(wanted: str, word: str, dotted: bool, size: int) -> bool:
    return wanted == word or (dotted and len(word) >= (2 if size > 1 else 3) and wanted.startswith(word))


def _only_fillers(text: str) -> bool:
    return all(w in _lists()[1] or w.isdecimal() for w in fold(text).split())
