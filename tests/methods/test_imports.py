"""What is imported when: a start that loads what nobody asked for keeps everybody waiting."""

from __future__ import annotations

import subprocess
import sys

import pytest

_SHOW = "import sys; print(*(m for m in sys.modules if m in {wanted}))"


def loaded(statement: str, *wanted: str) -> list[str]:
    """Which of these modules a fresh interpreter holds after a statement."""
    code = f"{statement}\n{_SHOW.format(wanted=set(wanted))}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout.split()


def test_the_package_alone_loads_nothing_heavy() -> None:
    assert loaded("import methods", "pandas", "scipy", "panel") == []


@pytest.mark.parametrize("package", ["scatter", "shifts", "laws", "agreement", "planning", "interlab", "protocols"])
def test_parts_of_scipy_are_loaded_when_they_are_first_used(package: str) -> None:
    assert loaded(f"import methods.{package}", "scipy.stats", "scipy.optimize") == []


def test_a_fit_of_a_common_family_needs_neither() -> None:
    fit = "from methods.scatter import fit_many; fit_many([[50.0, 55.0, 61.0, 58.0, 49.0]])"
    assert loaded(fit, "scipy.stats", "scipy.optimize") == []
