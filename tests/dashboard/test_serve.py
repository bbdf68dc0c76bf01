"""``gapshift serve``: ports, files that are none, the demo by default, and who may connect."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard import cli, server
from methods.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "data"


class Served:
    """A ``gapshift`` that runs, and what it has said so far."""

    def __init__(self, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "dashboard.cli", *words], cwd=ROOT, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        # One that never speaks is ended after two minutes; then its output ends, and the test says what came.
        self._end = threading.Timer(120, self.process.kill)
        self._end.start()

    def address(self) -> str:
        """The address that the server tells."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if "http://" in line:
                return next(w for w in line.split() if w.startswith("http://"))
        raise AssertionError(f"no address was told: {self.process.stderr.read() if self.process.stderr else ''}")

    def stop(self) -> str:
        """End it and give what it wrote to standard error."""
        self._end.cancel()
        self.process.terminate()
        return self.process.communicate(timeout=30)[1]


def page_at(address: str) -> bytes:
    """The page there, as soon as the server answers."""
    until = time.monotonic() + 120
    while True:
        try:
            with urllib.request.urlopen(address, timeout=60) as answer:
                return bytes(answer.read())
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


@pytest.fixture
def busy() -> Iterator[int]:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        yield int(taken.getsockname()[1])


def test_a_busy_port_gives_the_next_one_and_says_so(busy: int) -> None:
    served = Served("serve", str(DATA / "routine_wide.csv"), "--no-browser", "--port", str(busy))
    try:
        address = served.address()
        assert b"gapshift" in page_at(address)
    finally:
        told = served.stop()
    assert f"port {busy} is busy" in told and f":{busy}/" not in address
    assert "Traceback" not in told


def test_ports_that_cannot_be(busy: int) -> None:
    assert server.free_port(busy, "127.0.0.1") > busy
    for wanted in (0, -1, 65536):
        with pytest.raises(InputError, match="between 1 and 65535"):
            server.free_port(wanted, "127.0.0.1")
    with pytest.raises(InputError, match="no such address"):
        server.free_port(busy, "192.0.2.1")  # an address for documentation (RFC 5737): nobody's


@pytest.mark.parametrize("text", ["", "Dear all,\nthe oil was fine.\n", "sample,kv\nA,high\n"])
def test_a_file_that_is_none_is_one_line_and_status_two(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "bad.csv"
    file.write_text(text)
    assert cli.main(["serve", str(file), "--no-browser"]) == 2
    out = capsys.readouterr()
    assert out.out == "" and len(out.err.strip().splitlines()) == 1 and "bad.csv" in out.err


def test_a_file_that_is_missing_is_one_line_and_status_two(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["serve", "nowhere.csv", "--no-browser"]) == 2
    err = capsys.readouterr().err
    assert "nowhere.csv" in err and len(err.strip().splitlines()) == 1


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What panel is asked to serve, without serving it."""
    import panel as pn

    found: dict[str, Any] = {}

    def serve(panels: Any, **options: Any) -> None:
        found.update(options, panels=panels)

    monkeypatch.setattr(pn, "serve", serve)
    monkeypatch.setattr(pn, "extension", lambda *_, **__: None)
    return found


def test_gapshift_alone_serves_the_demo_on_this_machine_and_opens_a_browser(asked: dict[str, Any]) -> None:
    assert cli.main([]) == 0
    assert asked["address"] == "127.0.0.1" and asked["show"] is True
    assert "*" not in "".join(asked["websocket_origin"])
    page = asked["panels"]["/"]()
    assert "invented for the demo" in _text_of(page)


def test_no_browser_opens_none_and_the_files_are_shown(asked: dict[str, Any]) -> None:
    assert cli.main(["serve", str(DATA / "routine_wide.csv"), "--no-browser"]) == 0
    assert asked["show"] is False
    text = _text_of(asked["panels"]["/"]())
    assert "routine_wide.csv" in text and "invented for the demo" not in text


def test_a_file_deleted_after_the_start_is_still_shown(asked: dict[str, Any], tmp_path: Path) -> None:
    file = tmp_path / "series.csv"
    file.write_text("sample,filling,order,kv\nA,1,1,40\nA,1,2,43\n")
    assert cli.main(["serve", str(file), "--no-browser"]) == 0
    file.unlink()
    assert "series.csv" in _text_of(asked["panels"]["/"]())


def test_an_address_that_others_reach_is_asked_for_and_warned_of(
    asked: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["serve", "--no-browser"]) == 0
    assert "caution" not in capsys.readouterr().err.lower()
    assert cli.main(["serve", "--no-browser", "--address", "0.0.0.0"]) == 0
    told = capsys.readouterr().err
    assert asked["address"] == "0.0.0.0"
    assert f"{socket.gethostname()}:{asked['port']}" in asked["websocket_origin"]
    assert "*" not in "".join(asked["websocket_origin"])
    assert "Caution" in told and "no password" in told and len(told.strip().splitlines()) == 1


def _text_of(page: Any) -> str:
    """All markup in a page."""
    return " ".join(str(pane.object) for pane in page.select(lambda p: hasattr(p, "object")))
