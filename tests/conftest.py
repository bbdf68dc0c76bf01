"""Shared fixtures."""

from __future__ import annotations
