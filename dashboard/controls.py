"""Choices, numbers and text, made of the browser's own drop-downs, radio buttons, check boxes and fields.

They need no mending for the keyboard and for screen readers, carry their explanation, and open as the reader's device
opens them; and the browser makes one in a fraction of the time that a control of a kit takes. What is pressed is in
:mod:`dashboard.actions`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import param

from dashboard import part_styles
from dashboard.component import Component


class _Control(Component):
    """What the choices share: labels go to the browser, the values behind them stay here."""

    options = param.ClassSelector(default={}, class_=(dict, list), doc="Label to value, or values that say themselves.")
    label = param.String(default="", doc="What is chosen.")
    hint = param.String(default="", doc="One line of explanation under it.")
    disabled = param.Boolean(default=False)
    labels = param.List(default=[], item_type=str, doc="The options' labels, for the browser.")
    chosen = param.List(default=[], item_type=str, doc="The chosen labels; the browser sets them.")
    look: param.Selector[str] = param.Selector(
        default="list", objects=["list", "buttons", "several", "search"], doc="What it looks like."
    )
    most = param.Integer(default=0, doc="How many may be chosen; 0: any number.")
    none = param.String(default="", doc="What is said where none is chosen.")

    SCRIPT = Path(__file__).with_suffix(".js")
    HERE = ("options", "value")

    def __init__(self, label: str, options: Mapping[str, Any] | Sequence[Any] = (), **params: Any) -> None:
        given = {"sizing_mode": "stretch_width", "margin": 0, "max_width": 240, **params}
        known: Any = dict(options) if isinstance(options, Mapping) else list(options)
        super().__init__(label=label, options=known, stylesheets=[part_styles.control_css()], **given)
        self._offer()
        self.param.watch(self._offer, ["options", "value"])
        self.param.watch(self._taken, "chosen")

    def _values(self) -> dict[str, Any]:
        return self.options if isinstance(self.options, dict) else {str(o): o for o in self.options}

    def _held(self) -> list[Any]:
        return [self.value]

    def _hold(self, values: list[Any]) -> None:
        self.value = values[0] if values else None

    def _offer(self, *_: Any) -> None:
        """Tell the browser what there is to choose and what is chosen."""
        values = self._values()
        found = ((next((la for la, v in values.items() if v == held), None)) for held in self._held())
        self.param.update(labels=list(values), chosen=[label for label in found if label is not None])

    def _taken(self, event: Any) -> None:
        """The reader chose; a label that has gone since is nobody's choice any more."""
        values = self._values()
        wanted = [values[label] for label in event.new if label in values]
        if event.new and not wanted:
            self._offer()
            return
        if wanted != [held for held in self._held() if held in values.values()]:
            self._hold(wanted)


class Choice(_Control):
    """One of several: a drop-down, with ``look="buttons"`` buttons side by side, with ``look="search"`` a field that
    offers those of many that hold what is typed.

    Parameters
    ----------
    label : str
        What is chosen.
    options : mapping of label to value, or sequence of values
        What there is to choose. A ``value`` that is not among them is shown as nothing chosen.
    """

    value = param.Parameter(default=None, doc="The chosen option's value.")


class Several(_Control):
    """Any of several, in the order of choosing: check boxes that come forth when they are asked for.

    Parameters are those of :class:`Choice`; ``most`` limits how many, ``none`` is said where there are none.
    """

    value = param.List(default=[], doc="The chosen options' values.")

    def __init__(self, label: str, options: Mapping[str, Any] | Sequence[Any] = (), **params: Any) -> None:
        super().__init__(label, options, **{"look": "several", "none": "nothing", **params})

    def _held(self) -> list[Any]:
        return list(self.value)

    def _hold(self, values: list[Any]) -> None:
        self.value = values


class _Field(Component):
    """What the fields share: a value that the browser sets when the field is left."""

    label = param.String(default="", doc="What is entered, with its unit.")
    hint = param.String(default="", doc="One line of explanation under it.")
    disabled = param.Boolean(default=False)
    look = param.String(default="", constant=True, doc="Which of them the browser is to make.")

    SCRIPT = Path(__file__).with_suffix(".js")

    def __init__(self, label: str, **params: Any) -> None:
        given = {"sizing_mode": "stretch_width", "margin": 0, "max_width": 240, **params}
        super().__init__(label=label, stylesheets=[part_styles.control_css()], **given)


class Amount(_Field):
    """A field for a number, which the browser keeps between ``start`` and ``end``, and whole where it is ``whole``.

    With ``sliding`` one slides to it, or types it; then both ends must be given. The plots follow while it is dragged:
    the browser says the next value once it has heard that the last one was taken. With ``optional`` the field may be
    empty: nothing is asked.
    """

    value = param.Number(default=None, allow_None=True, doc="The number; the browser sets it when the field is left.")
    start = param.Number(default=None, allow_None=True, doc="The least there may be.")
    end = param.Number(default=None, allow_None=True, doc="The most there may be.")
    step = param.Number(default=None, allow_None=True, doc="What an arrow key adds.")
    whole = param.Boolean(default=False, doc="Whether it is an integer.")
    reach = param.List(default=[], doc="From where to where one slides, where that is less than what can be typed.")
    optional = param.Boolean(default=False, doc="Whether it may be empty.")

    def __init__(self, label: str, *, sliding: bool = False, **params: Any) -> None:
        super().__init__(label, look="slider" if sliding else "number", **params)

    def heard(self, message: Any) -> None:
        self.tell({"taken": message.get("sent", 0)})


class Words(_Field):
    """A field for text, of several ``lines`` where more than one is asked for."""

    value = param.String(default="", doc="The text; the browser sets it when the field is left.")
    example = param.String(default="", doc="What stands in the empty field.")
    lines = param.Integer(default=1, bounds=(1, None), doc="How many lines it is high.")

    def __init__(self, label: str, **params: Any) -> None:
        super().__init__(label, look="words", **params)


class Tick(_Field):
    """A box to tick: yes or no."""

    value = param.Boolean(default=False, doc="Whether it is ticked; the browser sets it.")

    def __init__(self, label: str, **params: Any) -> None:
        super().__init__(label, look="tick", **params)
