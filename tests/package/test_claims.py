"""What the package says of itself is what is tried: versions of Python, the command of CI, the container."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
WORKFLOW = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / ".github" / "workflows").glob("*.yml"))


def test_the_versions_that_are_claimed_are_tried() -> None:
    claimed = {c.rpartition(" ")[2] for c in PROJECT["classifiers"] if re.search(r"Python :: 3\.\d+$", c)}
    assert claimed == set(re.findall(r'python(?:-version)?: "(3\.\d+)"', WORKFLOW))
    assert PROJECT["requires-python"] == f">={min(claimed, key=lambda v: int(v.partition('.')[2]))}"
    assert {"lowest-direct", "highest"} == set(re.findall(r"resolution: ([a-z-]+)", WORKFLOW))


def test_a_fork_runs_the_same_command() -> None:
    assert re.search(r"run: bash \.ci/run$", WORKFLOW, re.M)
    assert "run.py --tests" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_container_is_slim_without_root_and_asked_for_its_health() -> None:
    lines = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    assert re.search(r"^FROM python:3\.\d+-slim-", lines, re.M) and "HEALTHCHECK" in lines
    user, workdir, entry = (lines.index(f"\n{word}") for word in ("USER ", "WORKDIR /srv/gapshift", "ENTRYPOINT "))
    assert user < workdir < entry and "USER root" not in lines
    assert "--constraint constraints.txt" in lines
    extras = re.search(r"\.\[([a-z,]+)\]", lines)
    assert extras is not None and set(extras[1].split(",")) <= set(PROJECT["optional-dependencies"])
