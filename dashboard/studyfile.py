"""A study in one JSON file: settings, file names with hashes, exclusions with reasons. Never the readings."""

from __future__ import annotations

import json
from typing import Any

from dashboard import address, applying
from dashboard.exclusions import Exclusion
from dashboard.study import Study
from methods.errors import InputError

FORMAT = 1
#: How a file may be read again, and of which kinds the values are; see :func:`methods.read`.
_OPTIONS: dict[str, tuple[type, ...]] = {
    "recipe": (str,), "columns": (dict,), "sheet": (str,), "decimal": (str,), "unit": (str,), "layout": (str,),
    "thousands": (str,), "ceiling_kv": (int, float, bool), "day_first": (bool,), "censored": (str, list),
}  # fmt: skip


def save(study: Study) -> str:
    """Write the study as JSON text."""
    document = {
        "gapshift_study": FORMAT,
        "settings": address.settings(study),
        "files": [{"name": f.name, "sha256": f.sha256, "options": dict(f.options), "demo": f.demo} for f in study.files]
        + list(study.awaited),
        "exclusions": [{"where": dict(x.where), "reason": x.reason} for x in study.exclusions],
    }
    return json.dumps(document, indent=2, ensure_ascii=False, sort_keys=True) + "\n"


def load(study: Study, text: str | bytes) -> None:
    """Bring ``study`` to what was saved.

    Files that are open already (same hash) and demo sets are used at once; the others are waited for
    (``study.awaited``) and recognised by their hash when they are opened.

    Raises
    ------
    InputError
        Not a study file, or of a later format.
    """
    document = _parse(text)
    here = {f.sha256: f for f in study.files}
    files, awaited, remarks = [], [], []
    for entry in document["files"]:
        file, remark = _find(study, entry, here)
        if remark:
            remarks.append(remark)
        if file is not None:
            files.append(file)
        else:
            awaited.append({k: entry.get(k) for k in ("name", "sha256")} | {"options": entry.get("options") or {}})
    exclusions = [Exclusion(dict(x["where"]), str(x["reason"])) for x in document["exclusions"]]
    study.param.update(
        files=files,
        dataset=files[0].demo if files else "",
        awaited=awaited,
        remarks=remarks,
        exclusions=exclusions,
        filters={},
    )
    applying.apply(study, {str(k): str(v) for k, v in document["settings"].items()})
    waiting = {str(k): str(v) for k, v in document["settings"].items()} if awaited else {}
    study.wait(waiting, applying.apply)


def _find(study: Study, entry: dict[str, Any], here: dict[str, Any]) -> tuple[Any, str]:
    """The open file that this entry means, and what to tell the user about it."""
    options = entry.get("options") or {}
    if entry.get("demo"):
        opened = study.open_demo(entry["demo"])
        if opened is None:
            return None, ""
        if opened.sha256 != entry.get("sha256"):
            return opened, f"The demo set {opened.name} has changed since the study was saved: numbers will differ."
        return (study.reread(opened.name, **options) if options else opened), ""
    found = here.get(str(entry.get("sha256")))
    if found is None:
        return None, ""
    if dict(found.options) == options:
        return found, ""
    back = {k: None for k in found.options}
    return study.reread(found.name, **{**back, **options}), ""


def _parse(text: str | bytes) -> dict[str, Any]:
    try:
        document = json.loads(text)
    except (ValueError, UnicodeDecodeError):
        document = None
    if not isinstance(document, dict) or "gapshift_study" not in document:
        raise InputError("This is not a study file. Drop measured values on the Records page instead.")
    if document["gapshift_study"] != FORMAT:
        raise InputError("This study was saved by a later version of gapshift: update to open it.")
    for name, kind in (("settings", dict), ("files", list), ("exclusions", list)):
        if not isinstance(document.get(name), kind):
            raise InputError(f"The study file is damaged: its part {name!r} is missing.")
    for place, entry in enumerate(document["files"], 1):
        _check_file(entry, place)
    for exclusion in document["exclusions"]:
        where = exclusion.get("where") if isinstance(exclusion, dict) else None
        if not isinstance(where, dict) or not all(isinstance(v, str) for v in where.values()):
            raise InputError("The study file is damaged: an exclusion does not say which rows it means.")
        if not isinstance(exclusion.get("reason"), str):
            raise InputError("The study file is damaged: an exclusion has no reason.")
    if any(not isinstance(v, (str, int, float)) for v in document["settings"].values()):
        raise InputError("The study file is damaged: a setting is no text.")
    return document


def _check_file(entry: Any, place: int) -> None:
    """See that a file's entry is one: its name, its hash and how it is read."""
    damaged = f"The study file is damaged: its file {place}"
    if not isinstance(entry, dict):
        raise InputError(f"{damaged} is no entry of a file.")
    for name in ("name", "sha256", "demo"):
        if not isinstance(entry.get(name, ""), str) or (name != "demo" and not entry.get(name)):
            raise InputError(f"{damaged} has no {name!r} that is text.")
    options = entry.get("options") or {}
    if not isinstance(options, dict) or not all(isinstance(k, str) for k in options):
        raise InputError(f"{damaged} has reading options that are none.")
    for name, value in options.items():
        kinds = _OPTIONS.get(name)
        if kinds is None or not isinstance(value, (*kinds, type(None))):
            raise InputError(f"{damaged} is to be read with {name!r}, which the reader does not take so.")
        if isinstance(value, dict) and not all(isinstance(v, str) for v in value.values()):
            raise InputError(f"{damaged} is to be read with {name!r}, which names no columns.")
