"""Reading protocols from TOML: the standards that ship with the package and the user's own folder."""

from __future__ import annotations

import dataclasses
import os
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from methods.errors import InputError
from methods.protocols.protocol import CHECK, ELECTRODES, MARKS, STIRRINGS, Protocol, Value

STANDARDS = Path(__file__).parent / "standards"

#: Names that a user's folder may hold beside its protocols.
RESERVED: frozenset[str] = frozenset({"rules.toml", "precision.toml"})

_TEXT = ("key", "family", "designation", "edition", "title")
_VALUES = tuple(f.name for f in dataclasses.fields(Protocol) if isinstance(f.default, Value))
_POSITIVE = frozenset(
    n
    for n in _VALUES
    if n.endswith(("_mm", "_kv_s", "_s", "_hz", "_ml")) or n in ("breakdowns_per_filling", "fillings")
)
_WHOLE = frozenset({"breakdowns_per_filling", "fillings", "rounding_digits"})
_NUMBERS = _POSITIVE | _WHOLE | {"temperature_low_c", "temperature_high_c"}
_WORDS = {"electrode": ELECTRODES, "stirring": STIRRINGS}


def toml(path: Path) -> dict[str, Any]:
    """Read one TOML file.

    Raises
    ------
    InputError
        The file cannot be read or is not TOML; the message names it.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path.name}: not valid TOML: {error}", text=path.name, rule="TOML 1.0") from None
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: not UTF-8 text; save it as UTF-8.", text=path.name, rule="UTF-8") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}", text=str(path), rule="a readable file") from None


def problem(path: Path, key: str, found: Any, rule: str) -> InputError:
    """The error for one bad entry: names file, key, what was found and the rule.

    Parameters
    ----------
    path : Path
        The file.
    key : str
        The entry.
    found : object
        What stands there.
    rule : str
        What should.
    """
    return InputError(f"{path.name}: {key} is {found!r}; {rule}.", column=key, text=str(found), rule=rule)


def read_value(path: Path, key: str, raw: Any) -> Value:
    """One entry of a protocol, rule or limit file: a table with a mark, or a bare value (marked ``own copy``).

    An empty entry has no ``value``. The mark must be one of :data:`MARKS`; all but ``own copy`` need a source.

    Parameters
    ----------
    path : Path
        The file.
    key : str
        The entry's name.
    raw : object
        What TOML gave for it.
    """
    if not isinstance(raw, dict):
        return Value(raw, "own copy", path.name)
    extra = set(raw) - {"value", "mark", "source", "choices"}
    if extra:
        raise problem(path, key, sorted(extra)[0], "an entry has only value, mark, source and choices")
    mark = raw.get("mark", "own copy")
    if mark not in MARKS:
        raise problem(path, f"{key}.mark", mark, f"it must be one of {', '.join(MARKS)}")
    source = raw.get("source", path.name if mark == "own copy" else "")
    if not source and mark in ("published", "memory"):
        raise problem(path, f"{key}.source", source, "a published or remembered value says where it comes from")
    choices = raw.get("choices", [])
    if not isinstance(choices, list):
        raise problem(path, f"{key}.choices", choices, "it must be a list")
    return Value(raw.get("value"), mark, str(source), tuple(choices))


def _checked(path: Path, key: str, value: Value) -> Value:
    """Refuse a value of the wrong kind; whole numbers stay whole, other numbers become floats."""

    def one(found: Any) -> Any:
        if key in _NUMBERS:
            if isinstance(found, bool) or not isinstance(found, (int, float)) or not abs(found) < 1e9:
                raise problem(path, key, found, "it must be a number")
            if key in _POSITIVE and not found > 0:
                raise problem(path, key, found, "it must be above zero")
            if key in _WHOLE:
                if found != int(found) or found < 1:
                    raise problem(path, key, found, "it must be a whole number, 1 or more")
                return int(found)
            return float(found)
        if not isinstance(found, str) or not found.strip():
            raise problem(path, key, found, "it must be a text")
        if key in _WORDS and found in ("sphere", "spheres", "disc", "disks", "vde", "stirred", "unstirred"):
            raise problem(path, key, found, f"write it as one of {', '.join(_WORDS[key])}")
        return found

    return dataclasses.replace(
        value,
        value=None if value.value is None else one(value.value),
        choices=tuple(one(c) for c in value.choices),
    )


def _inherited(base: Protocol, relation: Value) -> dict[str, Value]:
    """What an adopting text takes over: never better known than the adoption itself; uncertain ones empty."""
    out: dict[str, Value] = {}
    for name, value in base.values.items():
        mark = max(value.mark, relation.mark, key=MARKS.index)
        source = (
            value.source if relation.mark == value.mark == "published" else f"as {base.designation}: {value.source}"
        )
        if mark == "uncertain" and value.mark != "uncertain":
            value = Value(None, mark, source)
        out[name] = dataclasses.replace(value, mark=mark, source=source)
    return out


def read_protocol(path: Path, known: dict[str, Protocol], raw: dict[str, Any]) -> Protocol:
    """One protocol from the content of one file; ``known`` holds the protocols on which it may be based.

    Parameters
    ----------
    path : Path
        The file.
    known : dict of str to Protocol
        Protocols by key.
    raw : dict of str to object
        What TOML gave for the file.

    Raises
    ------
    InputError
        Naming file, key, text found and rule.
    """
    allowed = {*_TEXT, *_VALUES, "notes", "aliases", "based_on", "check"}
    for name in raw:
        if name not in allowed:
            raise problem(path, name, name, "no such key; see the shipped protocols for the names")
    for name in ("key", "designation"):
        if name not in raw:
            raise problem(path, name, "", "every protocol has it")
    for name in _TEXT:
        if name in raw and (not isinstance(raw[name], str) or not raw[name].strip()):
            raise problem(path, name, raw[name], "it must be a text")
    for name in ("notes", "aliases"):
        found = raw.get(name, [])
        if not isinstance(found, list) or not all(isinstance(x, str) for x in found):
            raise problem(path, name, found, "it must be a list of texts")
    base: Protocol | None = None
    values: dict[str, Any] = {}
    if "based_on" in raw:
        entry = raw["based_on"] if isinstance(raw["based_on"], dict) else {"key": raw["based_on"]}
        base = known.get(str(entry.get("key")))
        if base is None:
            raise problem(path, "based_on", entry.get("key"), f"it must be the key of one of {', '.join(known)}")
        relation = read_value(path, "based_on", {k: v for k, v in entry.items() if k != "key"})
        values = _inherited(base, relation)
    values |= {n: _checked(path, n, read_value(path, n, raw[n])) for n in _VALUES if n in raw}
    return Protocol(
        key=raw["key"],
        family=raw.get("family", base.family if base else raw["key"]),
        designation=raw["designation"],
        edition=raw.get("edition", "unspecified"),
        title=raw.get("title", raw["designation"]),
        notes=tuple(raw.get("notes", ())),
        aliases=tuple(raw.get("aliases", ())),
        check=raw.get("check", CHECK),
        file=path.name,
        **values,
    )


def user_folder(folder: str | os.PathLike[str] | None, variable: str) -> Path | None:
    """The folder of the user's own files: the argument, else the environment variable, else none.

    Raises
    ------
    InputError
        A folder was named and is not there.
    """
    named = folder if folder is not None else os.environ.get(variable) or None
    if named is None:
        return None
    path = Path(named)
    if not path.is_dir():
        raise InputError(f"There is no folder {str(path)!r} ({variable}).", text=str(path), rule="an existing folder")
    return path


def stamp(folder: Path | None) -> tuple[tuple[str, int, int], ...]:
    """What tells whether the files of a folder changed: names, sizes and times."""
    if folder is None:
        return ()
    files = sorted(folder.glob("*.toml"))
    return tuple((str(f), f.stat().st_mtime_ns, f.stat().st_size) for f in files)


def load(folder: str | os.PathLike[str] | None = None) -> dict[str, Protocol]:
    """All protocols by key: the shipped ones, then those of the user's folder.

    ``folder`` (or the environment variable ``GAPSHIFT_PROTOCOLS``) names a folder of TOML files of the same
    shape; one with the key of a shipped protocol takes its place.

    Raises
    ------
    InputError
        A file that breaks a rule; the message names file, key, text found and rule.
    """
    path = user_folder(folder, "GAPSHIFT_PROTOCOLS")
    return dict(_load(path, stamp(path)))


def shipped_keys() -> frozenset[str]:
    """The keys of the protocols that come with the package."""
    return frozenset(_load(None, ()))


@lru_cache(maxsize=16)
def _load(folder: Path | None, _stamp: tuple[tuple[str, int, int], ...]) -> dict[str, Protocol]:
    known: dict[str, Protocol] = {}
    for place in (STANDARDS, folder):
        if place is None:
            continue
        waiting = {f: toml(f) for f in sorted(place.glob("*.toml")) if f.name not in RESERVED}
        here: dict[str, str] = {}
        while waiting:
            ready = {f: raw for f, raw in waiting.items() if not _waits(raw, waiting)}
            if not ready:
                file = next(iter(waiting))
                raise problem(file, "based_on", file.name, "protocols are based on each other in a circle")
            for file, raw in ready.items():
                found = read_protocol(file, known, raw)
                if found.key in here:
                    raise problem(file, "key", found.key, f"{here[found.key]} already has it")
                here[found.key] = file.name
                known[found.key] = found
                del waiting[file]
    return known


def _waits(raw: dict[str, Any], waiting: dict[Path, dict[str, Any]]) -> bool:
    """Whether this one is based on one that is still to be read."""
    base = raw.get("based_on")
    name = base.get("key") if isinstance(base, dict) else base
    return name is not None and name != raw.get("key") and any(r.get("key") == name for r in waiting.values())


def by_key(key: str, folder: str | os.PathLike[str] | None = None) -> Protocol:
    """One protocol by its key.

    Raises
    ------
    InputError
        There is none of that key; the message lists those there are.
    """
    all_of_them = load(folder)
    if key not in all_of_them:
        rule = f"one of {', '.join(sorted(all_of_them))}"
        raise InputError(f"There is no protocol {key!r}; it must be {rule}.", column="protocol", text=key, rule=rule)
    return all_of_them[key]
