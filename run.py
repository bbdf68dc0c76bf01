#!/usr/bin/env python3
"""Set up what is missing, then run gapshift or its tests. Needs nothing but Python 3.11 or later.

    python3 run.py [ARGUMENTS OF gapshift]   the dashboard (with demo data when no file is named), or any command
    python3 run.py --tests [PYTEST OPTIONS]  all tests: units, external checks, notebooks, browser

Everything goes into .venv beside this file. Only the tests touch the system: they drive Chromium, and when it
is missing and this runs as root on Debian it is installed with apt.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import urllib.parse
import urllib.request
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
PYTHON = VENV / "bin" / "python"
STAMP = VENV / "gapshift-setup.json"
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
#: What the browser tests need on the system: the browser, and fonts so that pages have letters.
BROWSER_PACKAGES = ("chromium", "fonts-dejavu-core")
#: What WeasyPrint needs to write PDF.
REPORT_PACKAGES = ("libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0")


def say(text: str) -> None:
    print(f"[gapshift] {text}", flush=True)


def fail(text: str) -> None:
    raise SystemExit(f"[gapshift] {text}")


def make_venv() -> None:
    """Make .venv; on a Debian without python3-venv, bring pip in from the package index instead."""
    if PYTHON.exists():
        return
    say(f"making an environment in {VENV.name}")
    tried = subprocess.run([sys.executable, "-m", "venv", str(VENV)], capture_output=True, text=True)
    if tried.returncode == 0:
        return
    shutil.rmtree(VENV, ignore_errors=True)
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(VENV)], check=True)
    wheel = fetch_pip()
    command = [str(PYTHON), str(wheel / "pip"), "install", "--quiet", "--no-index", str(wheel)]
    subprocess.run(command, check=True)


def fetch_pip() -> Path:
    """Download pip's own wheel (it runs without being installed) from the package index in use."""
    index = os.environ.get("PIP_INDEX_URL", "https://pypi.org/simple").rstrip("/")
    page = f"{index}/pip/"
    say("bringing pip in from the package index")
    try:
        with urllib.request.urlopen(page, timeout=60) as answer:
            text = answer.read().decode("utf-8", "replace")
        links = re.findall(
            r'href="([^"]+/(pip-(\d+)\.(\d+)(?:\.\d+)?-py3-none-any\.whl)(?:#sha256=([0-9a-f]+))?)', text
        )
        if not links:
            fail("the package index lists no pip; install Debian's python3-venv and run this again")
        link, name, *_, digest = max(links, key=lambda found: (int(found[2]), int(found[3])))
        with urllib.request.urlopen(urllib.parse.urljoin(page, link), timeout=120) as answer:
            content = answer.read()
    except OSError as error:
        fail(f"pip could not be fetched ({error}); install Debian's python3-venv (apt install python3-venv) instead")
    if digest and hashlib.sha256(content).hexdigest() != digest:
        fail("the downloaded pip does not have the checksum that the index states")
    wheel = VENV / name
    wheel.write_bytes(content)
    return wheel


def wanted(tests: bool) -> list[str]:
    """What pip is asked for: the project itself, and for the tests its extras and the test group."""
    if not tests:
        return ["--editable", str(HERE)]
    import tomllib

    groups = tomllib.loads((HERE / "pyproject.toml").read_text(encoding="utf-8"))["dependency-groups"]
    return ["--editable", f"{HERE}[parquet,report,bigdata,cluster]", *groups["test"], *groups["docs"], *groups["lint"]]


def install(tests: bool) -> None:
    """Install once for each state of pyproject.toml and constraints.txt; the second run starts at once."""
    asked = b"".join((HERE / name).read_bytes() for name in ("pyproject.toml", "constraints.txt"))
    key = hashlib.sha256(asked).hexdigest()
    done = json.loads(STAMP.read_text()) if STAMP.exists() else {}
    if done.get("key") == key and (done.get("tests") or not tests):
        return
    say("installing packages (a few minutes the first time)")
    # The versions with which all tests passed: a new release elsewhere breaks nobody's first try.
    known = ["--constraint", str(HERE / "constraints.txt")]
    command = [str(PYTHON), "-m", "pip", "install", "-qq", "--disable-pip-version-check", *known, *wanted(tests)]
    if subprocess.run(command).returncode:
        fail("pip could not install the packages; its message stands above")
    STAMP.write_text(json.dumps({"key": key, "tests": tests}))


def find_chromium() -> str | None:
    named = os.environ.get("GAPSHIFT_CHROMIUM")
    if named:
        return named if Path(named).exists() else None
    return next((path for name in CHROMIUM_NAMES if (path := shutil.which(name))), None)


def apt_install(packages: tuple[str, ...]) -> bool:
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        return False
    environment = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    for words in (["update"], ["install", "--yes", "--no-install-recommends", *packages]):
        if subprocess.run(["apt-get", "--quiet", "--quiet", *words], env=environment).returncode:
            return False
    return True


def need_browser() -> None:
    """Make sure that there is a Chromium for the browser tests; they are never skipped."""
    if find_chromium() is None:
        say("installing Chromium for the browser tests")
        if not apt_install(BROWSER_PACKAGES) or find_chromium() is None:
            fail(
                "the browser tests need Chromium and it is not here. As root: "
                f"apt install {' '.join(BROWSER_PACKAGES)}; or set GAPSHIFT_CHROMIUM to a Chromium that you have."
            )


def need_report_libraries() -> None:
    """Make sure that PDF reports can be written here; WeasyPrint loads Pango from the system."""
    probe = [str(PYTHON), "-c", "import weasyprint"]
    if subprocess.run(probe, capture_output=True).returncode == 0:
        return
    say("installing Pango for PDF reports")
    if not apt_install(REPORT_PACKAGES) or subprocess.run(probe, capture_output=True).returncode:
        fail(f"the report tests need Pango. As root: apt install {' '.join(REPORT_PACKAGES)}")


def main(words: list[str]) -> int:
    if sys.version_info < (3, 11):  # noqa: UP036 - this file may be started by any python3
        fail(f"gapshift needs Python 3.11 or later; this is {sys.version.split()[0]}")
    tests = words[:1] == ["--tests"]
    make_venv()
    install(tests)
    if not tests:
        return subprocess.run(
            [str(PYTHON), "-m", "dashboard.cli", *words], cwd=None, env=path_with_project()
        ).returncode
    need_browser()
    need_report_libraries()
    if words[1:]:
        return pytest(*words[1:])
    # What computes is spread over the cores. Browsers come after it, two at most: each has a server of its own beside.
    two = f"--numprocesses={min(2, os.cpu_count() or 1)}"
    failed = [pytest("tests", "--ignore=tests/browser", "--numprocesses=auto"), pytest("tests/browser", two)]
    return int(any(failed))  # a run that was killed has a negative code


def pytest(*words: str) -> int:
    return subprocess.run([str(PYTHON), "-m", "pytest", *words], cwd=HERE, env=path_with_project()).returncode


def path_with_project() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": os.pathsep.join([str(HERE), *filter(None, [os.environ.get("PYTHONPATH")])])}


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)
