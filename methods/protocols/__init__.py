"""Test methods as data: protocols, their consistency rules, limits, precision statements and bench time."""

from __future__ import annotations

from methods.protocols.library import by_key, load
from methods.protocols.protocol import CHECK, MARKS, Protocol, Value
from methods.protocols.recognition import recognise, stated_gap

__all__ = ["CHECK", "MARKS", "Protocol", "Value", "by_key", "load", "recognise", "stated_gap"]
