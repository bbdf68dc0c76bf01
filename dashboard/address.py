"""The study as an address, and back: scientific choices only, never what is in a file.

``page``, ``data`` (a demo set's name, or ``own`` for the user's files), ``by``, ``split``, ``ref``, ``conf``,
``result`` (fillings of a reported result, where no method says it),
``only.COLUMN`` (the levels kept) and ``PAGE.NAME`` (an input of a page). What cannot be is ignored, and the frame then
rewrites the address.
"""

from __future__ import annotations

from copy import copy
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, quote, unquote, urlencode

import param

if TYPE_CHECKING:  # an address knows of the study no more than its parameters, and the study nothing of an address
    from dashboard.study import Study

#: Says in the address that the numbers were of the user's own files, which an address does not carry.
OWN = "own"


def settings(study: Study) -> dict[str, str]:
    """Everything that the address carries, as short names and text."""
    out = {"page": study.page}
    if study.dataset:
        out["data"] = study.dataset
    elif study.files:
        out["data"] = OWN
    else:  # what waits for the user's file stays in the address
        out |= {k: v for k, v in study.pending.items() if k in ("data", "by", "split", "ref") or k.startswith("only.")}
    if study.by:
        out["by"] = study.by
    if study.split:
        out["split"] = _join(study.split)
    if study.reference:
        out["ref"] = study.reference
    if study.confidence != study.param.confidence.default:
        out["conf"] = f"{study.confidence:g}"
    if study.result_fillings:
        out["result"] = str(study.result_fillings)
    for column in sorted(study.filters):
        out[f"only.{column}"] = _join(study.filters[column])
    for key in sorted(study.inputs):
        out[key] = write(study.inputs[key])
    return out


def query(study: Study) -> str:
    """The address's query, with its question mark."""
    return "?" + urlencode(settings(study), quote_via=quote, safe="|,")


def parse(text: str) -> dict[str, str]:
    """The names and values of a query; of a repeated name the last counts."""
    return dict(parse_qsl(text.removeprefix("?"), keep_blank_values=True))


def write(value: Any) -> str:
    """Write one input as text."""
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, (list, tuple)):
        return _join([write(v) for v in value])
    return str(value)


def read(parameter: param.Parameter, text: Any) -> Any:
    """Read one input back as its parameter wants it; None when it cannot be."""
    try:
        value = _converted(parameter, text)
        if value is not None:
            _trial(parameter)(**{str(parameter.name): value})  # bounds and choices, as on assignment
        return value
    except (ValueError, TypeError):
        return None


@lru_cache(maxsize=512)
def _trial(parameter: param.Parameter) -> Any:
    """A class with this parameter alone, on which a value is tried."""
    return param.parameterized_class("Trial", {str(parameter.name): copy(parameter)})


def _converted(parameter: param.Parameter, text: Any) -> Any:
    if not isinstance(text, str):
        return text
    if isinstance(parameter, param.Boolean):
        return {"1": True, "0": False}.get(text)
    if isinstance(parameter, param.Integer):
        return int(text)
    if isinstance(parameter, param.Number):
        return float(text)
    if isinstance(parameter, param.ListSelector):
        return [v for v in parted(text) if v in parameter.objects]
    if isinstance(parameter, param.Selector):
        return next((o for o in parameter.objects if write(o) == text), None)
    if isinstance(parameter, param.List):
        return parted(text)
    return text


def _join(parts: list[str]) -> str:
    return "|".join(quote(str(p), safe=" ,;:/()") if set(str(p)) & set("|%") else str(p) for p in parts)


def parted(text: str) -> list[str]:
    """The levels or choices that one value of the query lists."""
    return [unquote(p) if "%" in p else p for p in text.split("|") if p]
