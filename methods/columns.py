"""The columns of the record table, one row each: what a column is called, what it describes, whether it is a factor.

Everything that must know a column by name asks here: the reader, the comparisons, the tables on the page, in the
command's text and in the report. A column that a file brings besides these is kept, and can be a factor, too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from numbers import Real
from typing import Any, Literal

Describes = Literal["sample", "place", "procedure", "filling", "reading"]


@dataclass(frozen=True)
class Column:
    """One column of the record table.

    Attributes
    ----------
    name : str
        In tables, JSON and Python: lower case, with its unit where it holds numbers that have one.
    heading, help : str
        What stands above it in a table for people, unit included, and one line about it.
    describes : str
        What has this property: the oil ``sample``; the ``place`` (laboratory, test set, person); the ``procedure``;
        one ``filling`` of the cell; one ``reading``.
    words : str
        Its name within a sentence, without the unit.
    unit : str, optional
        Of the numbers that it holds.
    number : bool
        Whether it holds numbers.
    factor : bool
        Whether readings can be compared by it.
    condition : bool
        Whether two readings that differ in it were taken under different conditions.
    prescribed : bool
        Whether a test method fixes it (``methods/protocols/standards``).
    label : bool
        Whether it helps to name one filling among others.
    digits : int
        Significant figures in tables for people.
    derived : bool
        Whether it is computed from other columns instead of read: then only files that hold those have it.
    """

    name: str
    heading: str
    help: str
    describes: Describes
    words: str = ""
    unit: str | None = None
    number: bool = False
    factor: bool = False
    condition: bool = False
    prescribed: bool = False
    label: bool = False
    digits: int = 3
    derived: bool = False


def _factor(name: str, heading: str, help: str, describes: Describes, **more: Any) -> Column:
    return Column(name, heading, help, describes, factor=True, **more)


#: The registry, in the order in which columns are shown. Only ``kv`` is required of a file.
REGISTRY: tuple[Column, ...] = (
    _factor("sample", "Sample", "The oil sample.", "sample", label=True),
    _factor("fluid", "Fluid", "Kind of liquid.", "sample", condition=True),
    _factor("state", "State", "New, in service, treated …", "sample"),
    _factor("laboratory", "Laboratory", "Who tested.", "place", condition=True, label=True),
    _factor("instrument", "Instrument", "Test set.", "place", condition=True),
    _factor("operator", "Operator", "Who operated the test set.", "place", condition=True),
    _factor("method", "Method", "Test method.", "procedure", condition=True, label=True),
    _factor("edition", "Edition", "Edition of the method.", "procedure"),
    _factor("electrode", "Electrode", "Shape of the electrodes.", "procedure", condition=True, prescribed=True,
            label=True),
    _factor("gap_mm", "Gap (mm)", "Distance between the electrodes.", "procedure", words="gap", unit="mm",
            number=True, condition=True, prescribed=True, label=True),
    _factor("stirring", "Stirring", "Whether the oil was stirred, and when.", "procedure", condition=True,
            prescribed=True, label=True),
    _factor("rise_kv_s", "Rate of rise (kV/s)", "How fast the voltage was raised.", "procedure", words="rate of rise",
            unit="kV/s", number=True, condition=True, prescribed=True),
    Column("filling", "Filling", "One filling of the cell: the unit of replication.", "filling", label=True),
    Column("order", "Order", "Place of the breakdown within its filling.", "reading", number=True),
    Column("kv", "Voltage (kV)", "Breakdown voltage, kV rms; the ceiling where the oil withstood.", "reading",
           words="breakdown voltage", number=True),
    Column("outcome", "Outcome", "Breakdown, or withstood: the ceiling was reached without one.", "reading"),
    Column("temperature_c", "Temperature (°C)", "Oil temperature at the test.", "filling", words="temperature",
           unit="°C", number=True),
    Column("water_mg_kg", "Water (mg/kg)", "Water content.", "filling", words="water content", unit="mg/kg",
           number=True),
    Column("relative_saturation_percent", "Relative saturation (%)", "Water content over what the liquid dissolves at "
           "the temperature of the test, by its fluid (methods/water.py; constants from memory).", "filling",
           words="relative saturation", unit="%", number=True, derived=True),
    Column("tested_on", "Tested on", "Date of the test.", "filling", words="day"),
    Column("note", "Note", "Remark found in the file.", "reading"),
)  # fmt: skip

#: What stands between the columns in the name of a factor whose levels are combinations.
JOIN = " × "

_BY_NAME: dict[str, Column] = {c.name: c for c in REGISTRY}


def _names(columns: Iterable[Column]) -> tuple[str, ...]:
    return tuple(c.name for c in columns)


#: All known columns, in the order in which they are shown.
COLUMNS = _names(c for c in REGISTRY if not c.derived)
#: Those that hold numbers.
NUMERIC = _names(c for c in REGISTRY if c.number and not c.derived)
#: Those by which readings can be compared.
FACTORS = _names(c for c in REGISTRY if c.factor)
#: What says which oil it was, and what oil.
OIL = _names(c for c in REGISTRY if c.describes == "sample")
#: Where, with what and by whom it was tested.
PLACE = _names(c for c in REGISTRY if c.describes == "place")
#: How it was tested. The edition goes with the method's name.
PROCEDURE = _names(c for c in REGISTRY if c.describes == "procedure" and c.condition)
#: What a test method fixes of that.
PRESCRIBED = _names(c for c in REGISTRY if c.prescribed)
#: What follows from the method: between two methods it differs by definition.
OF_THE_METHOD = (*PRESCRIBED, *_names(c for c in REGISTRY if c.describes == "procedure" and not c.condition))
#: What must be alike in results that are to count as repetitions of one another, whoever took them.
HELD = (*PROCEDURE, *_names(c for c in REGISTRY if c.describes == "sample" and c.condition))
#: What makes a condition: the levels under which a series was taken (the oil itself is ``sample``).
CONDITION = (*HELD, *_names(c for c in REGISTRY if c.describes == "place" and c.condition))
#: What may change together with a compared factor: the condition, and what else is known of the oil.
BUNDLED = (*CONDITION, *(c for c in OIL if c not in CONDITION and c != "sample"))
#: Where scatter comes from, from the outside in; single breakdowns are what remains.
NESTED = ("laboratory", "sample", "filling")
#: What a test method is recognised from.
RECOGNISED_BY = ("method", "edition", "gap_mm")
#: How the cell is set; a bench is described by these first.
SETTING = ("electrode", "gap_mm", "stirring")
#: Within each of these the ceiling of a test set may show as a wall of equal maxima.
ONE_CEILING = ("instrument", "laboratory", "method", "gap_mm")
#: An entry of the electrode log.
ELECTRODE_LOG = ("marked_on", "what", "electrode", "instrument", "note")
#: What is measured of the oil beside the voltage: it may differ between levels, and can be taken out as a line.
QUANTITIES = _names(c for c in REGISTRY if c.number and c.describes == "filling")
#: What names a filling among others.
LABELS = _names(c for c in REGISTRY if c.label)
#: What an empty cell is called when it is a level.
NOT_GIVEN = "not given"
#: Units of the numbers in a column.
UNITS: dict[str, str] = {c.name: c.unit for c in REGISTRY if c.unit}


def without(columns: Iterable[str], *names: str) -> tuple[str, ...]:
    """The columns that are not among ``names``, in their order."""
    return tuple(c for c in columns if c not in names)


def known(name: str) -> Column | None:
    """The row of the registry for a column; None for one that a file brings besides."""
    return _BY_NAME.get(name)


def level_text(value: Any) -> str:
    """Write one level as people read it: ``2`` and not ``2.0``, :data:`NOT_GIVEN` for an empty cell."""
    if value is None or str(value) in ("<NA>", "NaT") or (isinstance(value, float) and value != value):
        return NOT_GIVEN
    return f"{value:g}" if isinstance(value, float) else str(value)


def factor_name(column: str) -> str:
    """A column in words: ``gap`` for ``gap_mm``, ``oil age`` for ``oil_age``."""
    if JOIN in column:
        return JOIN.join(factor_name(part) for part in column.split(JOIN))
    row = _BY_NAME.get(column)
    return row.words if row is not None and row.words else column.replace("_", " ")


def with_unit(column: str, value: Any) -> str:
    """A level with its unit where it is a number that has one: ``2 mm``; a whole number without its ``.0``."""
    if isinstance(value, bool) or not isinstance(value, Real):
        return str(value)
    size = float(value)
    number = f"{size:.0f}" if size.is_integer() and abs(size) < 1e15 else f"{size:.12g}"
    return f"{number} {UNITS[column]}" if column in UNITS else number


#: Kinds of stirring as they are named beside a method or an electrode.
STIRRED = {"none": "unstirred", "continuous": "stirred", "between": "stirred between"}


def name_level(column: str, value: Any) -> str:
    """A level that stands alone in a sentence: words as they are, a number with its unit or its column."""
    if isinstance(value, str) or column in UNITS:
        return with_unit(column, value)
    return f"{factor_name(column)} {with_unit(column, value)}"


def group_name(group: Mapping[str, Any]) -> str:
    """A group's levels as one label, with their units."""
    said = [
        "stirring " + level_text(v) if k == "stirring" else with_unit(k, v) for k, v in group.items() if v is not None
    ]
    return " · ".join(said) or "all records"
