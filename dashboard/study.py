"""One session's state: records, filters, exclusions, factor, reference, confidence and the pages' own inputs.

The only place that pages share. Knows no widget; a notebook may use it alone::

    study = Study()
    study.open("series.csv")
    study.filters = {"fluid": ["mineral"]}
    study.table
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import param

from dashboard import demo
from dashboard.cache import hold, remember
from dashboard.exclusions import Exclusion, filling_key, named_by
from dashboard.levels import levels_of, texts
from dashboard.opened import Opened, Refused, laid_over, read_once, sheets_of
from methods.cage.limits import MAX_BYTES
from methods.cage.source import bytes_of
from methods.columns import COLUMNS, CONDITION, FACTORS
from methods.errors import InputError
from methods.procedures import JOIN, PROCEDURE, name_procedures, parts_of, with_factor
from methods.records.joining import join_tables
from methods.records.one_name import Renamed, renamed, with_one_name
from methods.records.table import filling_codes

#: Columns that describe one reading and never a group of them.
_MOST_FACTOR_LEVELS = 60


@dataclass(frozen=True)
class Selection:
    """The table that the filters left, in the form that every function of ``methods`` takes."""

    table: pd.DataFrame


class Study(param.Parameterized):
    """The state of one session. Setting a parameter is enough: pages and the address follow."""

    page = param.String("records", doc="Key of the page that is shown.")
    dataset = param.String("", doc="Name of the demo set that is open; empty for the user's own files.")
    files = param.List([], item_type=Opened, doc="The files that are open.")
    refused = param.List([], item_type=Refused, doc="Files that could not be read: to be put right on their sheet.")
    filters = param.Dict({}, doc="Column -> the levels that are kept, as text. A column that is absent keeps all.")
    exclusions = param.List([], item_type=Exclusion, doc="Breakdowns and fillings left out, with reasons.")
    by = param.String("", doc="The factor whose levels are compared.")
    split = param.List([], item_type=str, doc="Up to two more factors by which curves are split.")
    reference = param.String("", doc="The level that others are compared with; empty for the one with most fillings.")
    confidence = param.Number(0.95, bounds=(0.5, 0.9999), doc="Confidence of every interval.")
    result_fillings = param.Integer(
        None, allow_None=True, bounds=(1, 100), doc="Fillings of which a reported result is the mean, where no method "
        "says it; None: nobody said.",
    )  # fmt: skip
    selected = param.List([], doc="Rows of :attr:`everything` that the reader marked on a plot or in a table.")
    inputs = param.Dict({}, doc="The pages' own inputs: 'page.name' -> value.")
    fingerprint = param.String("", constant=True, doc="Changes whenever the selected table does.")
    awaited = param.List([], doc="Files that a reopened study needs: dicts with name, sha256, options.")
    pending = param.Dict({}, doc="Settings of a reopened study, or of an address, that wait for the files.")
    remarks = param.List([], item_type=str, doc="What the user should know about how the study came to be.")

    #: The factor that was taken because nobody chose one: with other files it may be another.
    _automatic = ""
    #: Applies what is pending; who leaves it says how.
    _settings_arrived: Callable[[Study, Mapping[str, str]], None] | None = None

    def __init__(self, **params: Any) -> None:
        super().__init__(**params)
        self._settle()

    # ------------------------------------------------------------------ files

    def open(
        self,
        source: str | Path | bytes,
        name: str | None = None,
        *,
        demo_name: str = "",
        alone: bool = False,
        ready: Any = None,
        **options: Any,
    ) -> Opened:
        """Read one file and add it to those that are open.

        Parameters
        ----------
        source : path or bytes
            Where the file is, or its content; ``name`` is then its name.
        alone : bool
            Close the files that are open. A demo set and a file of the user's are never open together.
        ready : Records or InputError, optional
            What :meth:`read_ahead` gave for the same file: it is not read once more.
        **options
            What overrules the reader's guesses; see :func:`methods.read`.

        Raises
        ------
        InputError
            The file is unusable, or the same content is open already and is not to be ``alone``.
        """
        data, name, digest, waiting, options = self._asked(source, name, options)
        same = next((f for f in self.files if f.sha256 == digest), None)
        if same is not None and alone:  # it stays as it is, and the others go
            self.param.update(files=[same], dataset=same.demo)
            return same
        if same is not None:
            raise InputError(f"{name} is open already: its content is the same, byte for byte.", text=name)
        try:
            kept = source if not isinstance(source, bytes) else data
            opened = read_once(data, name, digest, options, kept, demo_name, ready)
        except InputError as error:
            self._turned_away(Refused(name, digest, dict(options), data, str(error), alone))
            raise
        self._turned_away(None, digest)
        self._arrived(opened, waiting, alone)
        return opened

    def _asked(
        self, source: str | Path | bytes, name: str | None, options: Mapping[str, Any]
    ) -> tuple[bytes, str, str, Mapping[str, Any] | None, dict[str, Any]]:
        """Content, name and hash of a file that is to be opened, what awaits it, and how it is to be read."""
        data, name = bytes_of(source, name or ("uploaded file" if isinstance(source, bytes) else None), MAX_BYTES)
        digest = hashlib.sha256(data).hexdigest()
        waiting = next((w for w in self.awaited if w["sha256"] == digest), None)
        if waiting is None:
            return data, name, digest, None, dict(options)
        # By this name the study's exclusions know it, whatever it is called now.
        return data, waiting["name"], digest, waiting, {**waiting.get("options", {}), **options}

    def read_ahead(self, source: str | Path | bytes | None, name: str | None = None, **options: Any) -> Any:
        """Read as :meth:`open` would, and change nothing: may be called from another thread.

        Without ``source`` it is the file of this name that is read again, as :meth:`reread` would.

        Returns
        -------
        Records or InputError
            What came of it, for the ``ready`` of :meth:`open` and :meth:`reread`.
        """
        try:
            here: list[Opened | Refused] = [*self.files, *self.refused]
            known = next((k for k in here if k.name == name), None) if source is None else None
            if known is not None:
                source, options = known.source, laid_over(known.options, options)
            if source is None:
                raise InputError(f"No file called {name!r} is open.", text=name or "")
            data, name, digest, _, options = self._asked(source, name, options)
            return read_once(data, name, digest, options, source, getattr(known, "demo", "")).records
        except InputError as error:
            if isinstance(source, bytes):  # its sheet is shown instead: opened here too, while nobody waits
                with suppress(InputError):
                    sheets_of(Refused(name or "", hashlib.sha256(source).hexdigest(), {}, source, str(error)))
            return error

    def _turned_away(self, refused: Refused | None, digest: str = "") -> None:
        """Keep a file that was refused in place of what was known of it; None: it is refused no more."""
        digest = refused.sha256 if refused is not None else digest
        kept = [r for r in self.refused if r.sha256 != digest]
        wanted = [*kept, refused] if refused is not None else kept
        if wanted != self.refused:
            self.refused = wanted
            hold(self, *(r.sha256 for r in wanted))

    def _arrived(self, opened: Opened, waiting: Mapping[str, Any] | None, alone: bool) -> None:
        remarks, awaited = list(self.remarks), [w for w in self.awaited if w is not waiting]
        if waiting is None:
            for other in [w for w in awaited if w["name"] == opened.name]:
                remarks.append(
                    f"{opened.name} is not the file that the study was saved with: its content has changed since. "
                    "The numbers will differ from those that were saved."
                )
                awaited.remove(other)
            kept = sum(x.where.get("file") == opened.name for x in self.exclusions)
            if kept:
                what = "An exclusion" if kept == 1 else f"{kept} exclusions"
                told = (
                    f"{what} made for a file called {opened.name} {'holds' if kept == 1 else 'hold'} for this one too. "
                    "Take back below what was meant for another file."
                )
                remarks += [told] if told not in remarks else []
        keep = [] if opened.demo or (alone and waiting is None) else [f for f in self.files if not f.demo]
        self.param.update(files=[*keep, opened], dataset=opened.demo, awaited=awaited, remarks=remarks)
        if self.pending and not awaited:
            settings, self.pending = self.pending, {}
            if not opened.demo and self._settings_arrived is not None:
                self._settings_arrived(self, settings)

    def wait(self, settings: Mapping[str, str], apply: Callable[[Study, Mapping[str, str]], None]) -> None:
        """Keep settings that wait for files, and ``apply`` them to the study once the last of these is open."""
        self.pending, self._settings_arrived = dict(settings), apply

    def open_demo(self, name: str, *, first_look: bool = False) -> Opened | None:
        """Open one of the invented demo sets in place of whatever is open; None when there is no such set.

        ``first_look`` sets the factor, the reference and the filters with which the set shows one clean comparison.
        """
        file = demo.path(name)
        if file is None:
            return None
        opened = self.open(file, demo_name=name) if self.dataset != name else self.files[0]
        if first_look:
            first = demo.FIRST.get(name, {})
            wanted = first.get("filters", {})
            self.param.update(
                filters={c: [v for v in kept if v in self.levels(c)] for c, kept in wanted.items() if self.levels(c)},
                by=first.get("by", self.by) if self.can_compare(first.get("by", "")) else self.by,
            )
            self.reference = first.get("reference", "") if first.get("reference") in self.levels(self.by) else ""
        return opened

    def close(self, name: str) -> None:
        """Close the file of this name."""
        self.refused = [r for r in self.refused if r.name != name]
        left = [f for f in self.files if f.name != name]
        self.param.update(files=left, dataset=left[0].demo if left else "")

    def reread(self, name: str, *, ready: Any = None, **options: Any) -> Opened:
        """Read an open file, or one that was refused, again with other options; ``None`` takes an option back.

        Raises
        ------
        InputError
            It cannot be read so. An open file stays as it was; a refused one keeps the options for the next try.
        """
        old = next((f for f in self.files if f.name == name), None)
        turned = next((r for r in self.refused if r.name == name), None) if old is None else None
        known: Any = old or turned
        merged = laid_over(known.options, options)
        if turned is not None:
            return self.open(turned.source, name, alone=turned.alone, ready=ready, **merged)
        data, _ = bytes_of(known.source, name, MAX_BYTES)
        new = read_once(data, name, hashlib.sha256(data).hexdigest(), merged, known.source, known.demo, ready)
        self.files = [new if f is old else f for f in self.files]
        return new

    def recipes(self) -> dict[str, str]:
        """The recipes of the files that are open or waited for: name of the file -> text."""
        held = {w["name"]: (w.get("options") or {}).get("recipe") for w in self.awaited}
        held |= {f.name: f.options.get("recipe") for f in self.files}
        return {name: text for name, text in held.items() if text}

    # ------------------------------------------------------------------ what is derived

    @property
    def result(self) -> str | int:
        """What counts as one result, as the functions of ``methods`` take it."""
        return self.result_fillings or "result"

    @property
    def everything(self) -> pd.DataFrame:
        """All rows of all open files, before filters and exclusions, with a ``file`` column."""
        whole = remember(("everything", self._content()), lambda: _with_procedures(_joined(self.files)))
        if self.by in whole.columns or JOIN not in self.by:
            return whole
        return remember(("everything", self._content(), self.by), lambda: with_factor(whole, self.by)[0])

    @property
    def one_name(self) -> list[Renamed]:
        """The oils that the files spell differently, and that are taken as one."""
        return remember(("one name", self._content()), lambda: renamed([f.records.table for f in self.files],
                                                                       [f.name for f in self.files]))  # fmt: skip

    @property
    def table(self) -> pd.DataFrame:
        """The rows that filters and exclusions leave. Shared and cached: do not change it."""
        key = ("table", self.fingerprint, self.by if JOIN in self.by else "")
        return remember(key, lambda: self.left_by(self.exclusions))

    @property
    def selection(self) -> Selection:
        """The same for the functions of ``methods``, which then need not check the table again."""
        return Selection(self.table)

    @property
    def factors(self) -> list[str]:
        """The columns whose levels can be compared: those with two levels or more."""
        return remember(("factors", self._content()), lambda: _factors(self.everything))

    def can_compare(self, by: str) -> bool:
        """Whether this is a factor, or a combination of factors, of the records that are open."""
        return bool(by) and all(part in self.factors for part in parts_of(by))

    def levels(self, column: str) -> tuple[str, ...]:
        """All levels of a column, as text, before filters: what gives a level its colour for good."""
        if column not in self.everything.columns:
            return ()
        return remember(("levels", self._content(), column), lambda: levels_of(self.everything[column]))

    def present(self, column: str) -> tuple[str, ...]:
        """The levels that the filters left."""
        if column not in self.table.columns:
            return ()
        return remember(("present", self.fingerprint, column), lambda: levels_of(self.table[column]))

    @property
    def reference_value(self) -> Any:
        """The reference level as it stands in the table, or None to let the method choose."""
        if not self.reference or self.by not in self.table.columns:
            return None
        column = self.table[self.by]
        hits = column[(texts(column) == self.reference).to_numpy()]
        return hits.iloc[0] if len(hits) else None

    @property
    def set_aside(self) -> pd.DataFrame:
        """The rows that the filters leave out: earlier tests, from which scatter can be borrowed."""
        whole = self.everything
        if not self.filters:
            return whole.iloc[:0]
        key = ("set aside", self.fingerprint, self.by if JOIN in self.by else "")
        return remember(
            key, lambda: whole[~named_by(whole, self.exclusions) & ~self._kept_by(())].reset_index(drop=True)
        )

    def excluded(self) -> pd.Series:
        """Boolean, one entry a row of :attr:`everything`: True where an exclusion takes the row out."""
        return named_by(self.everything, self.exclusions)

    def _content(self) -> str:
        parts = [(f.name, f.sha256, sorted((k, repr(v)) for k, v in f.options.items())) for f in self.files]
        return hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()

    def left_by(self, exclusions: Sequence[Exclusion]) -> pd.DataFrame:
        """The rows that the filters and these exclusions alone leave, whatever else is left out."""
        whole, keep = self.everything, self._kept_by(exclusions)
        return whole if bool(keep.all()) else whole[keep].reset_index(drop=True)

    def _kept_by(self, exclusions: Sequence[Exclusion]) -> pd.Series:
        whole = self.everything
        keep = ~named_by(whole, exclusions)
        for column, wanted in self.filters.items():
            if column in whole.columns:
                keep &= texts(whole[column]).isin(list(wanted))
        return keep

    @property
    def places(self) -> np.ndarray:
        """For each row of :attr:`table` its row of :attr:`everything`: it stays what it is when filters change."""
        return remember(("places", self.fingerprint), lambda: np.flatnonzero(self._kept_by(self.exclusions)))

    @param.depends("files", watch=True)
    def _settle(self) -> None:
        """After other files: keep what still makes sense, choose a factor where none is chosen."""
        factors = self.factors
        whole = [f for f in ("electrode", "method") if f in factors and self.everything[f].notna().all()]
        first = (PROCEDURE, *whole, "electrode", "method", *factors)  # a factor that every row has comes first
        chosen = self.by != self._automatic and self.can_compare(self.by)
        by = self.by if chosen else next((f for f in first if f in factors), "")
        self._automatic = "" if chosen else by
        known = {c: [v for v in wanted if v in self.levels(c)] for c, wanted in self.filters.items()}
        with param.parameterized.batch_call_watchers(self):
            self.by = by
            self.split = [s for s in self.split if s in factors and s not in parts_of(by)][:2]
            self.reference = self.reference if self.reference in self.levels(by) else ""
            self.selected = []
            self.filters = {c: v for c, v in known.items() if v and len(v) < len(self.levels(c))}
            self._mark()

    @param.depends("filters", "exclusions", watch=True)
    def _mark(self) -> None:
        content, opened = self._content(), [f.sha256 for f in self.files]
        parts = [
            content,
            sorted((c, sorted(v)) for c, v in self.filters.items()),
            sorted(sorted(x.where.items()) for x in self.exclusions),
        ]
        fingerprint = hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()
        hold(self, fingerprint, content, *opened, *(f.sha256 for f in self.refused))
        with param.parameterized.edit_constant(self):
            self.fingerprint = fingerprint

    @param.depends("by", watch=True)
    def _other_factor(self) -> None:
        with param.parameterized.batch_call_watchers(self):
            self.split = [s for s in self.split if s not in parts_of(self.by)]
            if self.reference not in self.levels(self.by):
                self.reference = ""

    # ------------------------------------------------------------------ inputs of pages

    def put(self, page: str, name: str, value: Any, default: Any = None) -> None:
        """Keep one input of a page, so that the address and the study file carry it; its default is not kept."""
        key = f"{page}.{name}"
        left = {k: v for k, v in self.inputs.items() if k != key}
        wanted = left if value == default else {**left, key: value}
        if wanted != self.inputs:
            self.inputs = wanted

    def exclude(self, where: Mapping[str, str], reason: str) -> None:
        """Leave out the rows whose cells, as text, are those of ``where``; the reason is kept with them."""
        self.exclusions = [*self.exclusions, Exclusion(dict(where), reason)]

    def leave_out(self, rows: Sequence[int], reason: str) -> int:
        """Leave out these rows of :attr:`everything`, whole fillings as one exclusion each; give how many rows went.

        Rows that no cell tells from another go with it.
        """
        before, whole = len(self.table), self.everything
        codes = filling_codes(whole, by=["file"] if "file" in whole else ())
        made = []
        for code in dict.fromkeys(codes[list(rows)]):
            all_of_it = np.flatnonzero(codes == code)
            mine = [r for r in rows if codes[r] == code]
            key = filling_key({str(c): v for c, v in whole.iloc[mine[0]].items()})
            if set(mine) >= set(all_of_it.tolist()):
                made.append(Exclusion(key, reason))
                continue
            for row in mine:
                cells = whole.iloc[[row]]
                own = {c: texts(cells[c]).iloc[0] for c in ("order", "kv") if not cells[c].isna().iloc[0]}
                made.append(Exclusion(key | own, reason))
        self.param.update(exclusions=[*self.exclusions, *made], selected=[])
        return before - len(self.table)

    def step(self, by: int) -> None:
        """Select the reading that is next in voltage, from the lowest on: the keyboard's way through a plot."""
        kv, places = self.table["kv"].to_numpy(dtype=float), self.places
        if len(places):
            order = places[np.argsort(kv, kind="stable")]
            here = np.flatnonzero(order == self.selected[0]) if self.selected else np.array([])
            at = int(here[0]) + by if len(here) else 0
            self.selected = [int(order[at % len(order)])]

    def rows_like(self, frame: pd.DataFrame) -> np.ndarray:
        """For each row of a result its reading: the first row of :attr:`everything` in :attr:`table` with its cells."""
        table = self.table
        same = [c for c in frame.columns if c in table.columns]
        known = pd.DataFrame({c: texts(table[c]) for c in same}).assign(_row=self.places).drop_duplicates(same)
        found = pd.DataFrame({c: texts(frame[c]) for c in same}).merge(known, on=same, how="left")
        return found["_row"].fillna(-1).to_numpy(dtype=int)

    def take_back(self, index: int) -> None:
        """Take an exclusion back."""
        self.exclusions = [x for i, x in enumerate(self.exclusions) if i != index]


def _factors(table: pd.DataFrame) -> list[str]:
    extra = [c for c in table.columns if c not in COLUMNS]
    candidates = [*CONDITION, "file", *FACTORS, *extra]  # several files are more of a difference than several oils
    order = [PROCEDURE, "electrode", "gap_mm", "stirring", "method"]
    ranked = [*order, *[c for c in dict.fromkeys(candidates) if c not in order]]
    out = []
    for name in ranked:
        if name not in table.columns:
            continue
        if 2 <= table[name].nunique(dropna=False) <= _MOST_FACTOR_LEVELS:
            out.append(name)
    return out


def _with_procedures(table: pd.DataFrame) -> pd.DataFrame:
    """The table with a column of procedures where no single column tells them apart."""
    if PROCEDURE in table.columns or not len(table):
        return table
    found = name_procedures(table)
    if len(found.names) < 2 or any(found.fields[c].nunique(dropna=False) == len(found.names) for c in found.fields):
        return table
    return table.assign(**{PROCEDURE: found.labels().to_numpy()}).astype({PROCEDURE: "str"})


def _joined(files: Sequence[Opened]) -> pd.DataFrame:
    if not files:
        columns: dict[str, Any] = {n: pd.Series(dtype="str") for n in (*COLUMNS, "file")}
        columns["kv"] = pd.Series(dtype=float)
        return pd.DataFrame(columns)
    return join_tables(with_one_name([f.records.table.assign(file=f.name) for f in files], [f.name for f in files])[0])
