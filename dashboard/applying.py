"""Set a study to what an address, or a study file, asks for; what cannot be falls back to the default."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import param

from dashboard import address, demo
from dashboard.study import Study
from methods.procedures import parts_of


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
    elif wanted.get("data") == address.OWN and not study.files:
        study.wait(wanted, apply)
    with param.parameterized.batch_call_watchers(study):
        study.page = wanted["page"] if wanted.get("page") in keys() else study.param.page.default
        if study.can_compare(wanted.get("by", "")):
            study.by = wanted["by"]
        free = [f for f in study.factors if f not in parts_of(study.by)]
        study.split = [s for s in address.parted(wanted.get("split", "")) if s in free][:2]
        study.reference = wanted.get("ref", "") if wanted.get("ref") in study.levels(study.by) else ""
        study.confidence = _confidence(study.param.confidence, wanted.get("conf"))
        study.result_fillings = address.read(study.param.result_fillings, wanted.get("result"))
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
            kept = [v for v in address.parted(text) if v in levels]
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
            value = address.read(page_class.param[name], text)
            if value is not None and value != page_class.param[name].default:
                out[key] = value
    return out
