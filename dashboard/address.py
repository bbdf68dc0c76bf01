"""The study as an address, and back: scientific choices only, never what is in a file.

``page``, ``data`` (a demo set's name, or ``own`` for the user's files), ``by``, ``split``, ``ref``, ``conf``,
``result`` (fillings of a reported result, where no method says it),
``only.COLUMN`` (the levels kept) and ``PAGE.NAME`` (an input of a page). What cannot be is ignored, and the frame then
rewrites the address.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, quote, unquote, urlencode

import param

from dashboard import demo
from methods.procedures import parts_of

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


def apply(
    study: Study, wanted: Mapping[str, str], *, inputs: Mapping[str, type[param.Parameterized]] | None = None
) -> None:
    """Set ``study`` to what a query asks for; what is invalid or absent falls back to the default.

    ``inputs`` maps a page's key to its class, which says what the page's inputs may be; without it they are
    taken as they come and the page checks them when it is built.
    """
    from dashboard.pages import keys

    if wanted.get("data") in demo.names():
        study.open_demo(wanted["data"])
    elif wanted.get("data") == OWN and not study.files:
        study.wait(wanted, apply)
    with param.parameterized.batch_call_watchers(study):
        study.page = wanted["page"] if wanted.get("page") in keys() else study.param.page.default
        if study.can_compare(wanted.get("by", "")):
            study.by = wanted["by"]
        free = [f for f in study.factors if f not in parts_of(study.by)]
        study.split = [s for s in _parted(wanted.get("split", "")) if s in free][:2]
        study.reference = wanted.get("ref", "") if wanted.get("ref") in study.levels(study.by) else ""
        study.confidence = _confidence(study.param.confidence, wanted.get("conf"))
        study.result_fillings = read(study.param.result_fillings, wanted.get("result"))
        study.filters = _filters(study, wanted)
        study.inputs = _inputs(wanted, inputs)


def _confidence(parameter: Any, text: str | None) -> float:
    try:
        value = float(text) if text is not None else parameter.default
    except ValueError:
        return float(parameter.default)
    low, high = parameter.bounds
    return float(value if low <= value <= high else parameter.default)


def _filters(study: Study, wanted: Mapping[str, str]) -> dict[str, list[str]]:
    out = {}
    for key, text in wanted.items():
        column = key.removeprefix("only.")
        if key.startswith("only.") and column in study.everything.columns:
            levels = study.levels(column)
            kept = [v for v in _parted(text) if v in levels]
            if kept and len(kept) < len(levels):
                out[column] = kept
    return out


def _inputs(wanted: Mapping[str, str], classes: Mapping[str, type[param.Parameterized]] | None) -> dict[str, Any]:
    from dashboard.pages import keys

    out: dict[str, Any] = {}
    for key, text in wanted.items():
        page, _, name = key.partition(".")
        if not name or page not in keys():
            continue
        if classes is None or page not in classes:
            out[key] = text
            continue
        page_class = classes[page]
        if name in getattr(page_class, "INPUTS", ()):
            value = read(page_class.param[name], text)
            if value is not None and value != page_class.param[name].default:
                out[key] = value
    return out


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
        return [v for v in _parted(text) if v in parameter.objects]
    if isinstance(parameter, param.Selector):
        return next((o for o in parameter.objects if write(o) == text), None)
    if isinstance(parameter, param.List):
        return _parted(text)
    return text


def _join(parts: list[str]) -> str:
    return "|".join(quote(str(p), safe=" ,;:/()") if set(str(p)) & set("|%") else str(p) for p in parts)


def _parted(text: str) -> list[str]:
    return [unquote(p) if "%" in p else p for p in text.split("|") if p]
