"""What is pressed: buttons, files that come and go, pages of a table, sections."""

from __future__ import annotations

import base64
from typing import Any

import panel as pn
import pytest

from dashboard import parts
from dashboard.actions import Fold, Press, Save, Turn, Upload
from dashboard.controls import Amount, Choice, Tick, Words


@pytest.fixture(autouse=True)
def extension() -> None:
    pn.extension()


def told(control: Any) -> Any:
    """What the browser is told of a control."""
    return control.get_root().data


def answers(control: Any, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """What the server says to it from now on."""
    said: list[Any] = []
    monkeypatch.setattr(control, "_send_msg", said.append)
    return said


def test_a_press_is_told_to_all_who_want_to_know() -> None:
    seen: list[str] = []
    button = Press("Leave out", lambda _: seen.append("first"), look="main")
    button.on_click(lambda _: seen.append("second"))
    button.clicks += 1
    assert seen == ["first", "second"]
    assert (told(button).label, told(button).look, told(button).kind) == ("Leave out", "main", "press")


def test_what_is_saved_is_made_when_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    content = [b"one"]
    button = Save("Save study", "study.json", lambda: content[0])
    said = answers(button, monkeypatch)
    content[0] = "zwölf kV".encode()
    button._handle_msg({})
    assert said == [{"file": "study.json", "contents": base64.b64encode(content[0]).decode()}]


def test_a_file_that_cannot_be_made_frees_the_button(monkeypatch: pytest.MonkeyPatch) -> None:
    button = Save("Save", "a.csv", lambda: 1 / 0)  # type: ignore[arg-type, return-value]
    said = answers(button, monkeypatch)
    with pytest.raises(ZeroDivisionError):
        button._handle_msg({})
    assert said == [{"file": "", "contents": ""}]


def piece(name: str, data: bytes, number: int, **marks: bool) -> dict[str, Any]:
    usual = {"start": False, "first": False, "last": False, "final": False}
    return {"name": name, "number": number, "piece": base64.b64encode(data).decode(), **usual, **marks}


def test_files_come_in_pieces_and_are_given_once_all_are_there(monkeypatch: pytest.MonkeyPatch) -> None:
    upload = Upload("Open files", several=True)
    said, seen = answers(upload, monkeypatch), []
    upload.param.watch(lambda event: seen.append(event.new), "files")
    upload._handle_msg(piece("a.csv", b"kv\n", 1, start=True, first=True))
    upload._handle_msg(piece("a.csv", b"45\n", 2, last=True))
    assert seen == []
    upload._handle_msg(piece("b.csv", b"\xff\x00", 3, first=True, last=True, final=True))
    assert seen[0] == [("a.csv", b"kv\n45\n"), ("b.csv", b"\xff\x00")]
    assert [s["got"] for s in said] == [1, 2, 3]
    upload._handle_msg(piece("a.csv", b"kv\n", 4, start=True, first=True, last=True, final=True))
    assert seen[-2] == [("a.csv", b"kv\n")], "the same file may be opened again"


def test_pieces_of_what_was_broken_off_are_not_mixed_with_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    upload = Upload("Open files")
    answers(upload, monkeypatch)
    seen: list[Any] = []
    upload.param.watch(lambda event: seen.append(event.new), "files")
    upload._handle_msg(piece("a.csv", b"half", 1, start=True, first=True))
    upload._handle_msg(piece("b.csv", b"whole", 2, start=True, first=True, last=True, final=True))
    assert seen[0] == [("b.csv", b"whole")]


def test_a_piece_is_answered_even_where_the_file_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the browser waits for ever and takes no further file."""
    upload = Upload("Open files")
    said = answers(upload, monkeypatch)
    upload.param.watch(lambda _: 1 / 0, "files")
    with pytest.raises(ZeroDivisionError):
        upload._handle_msg(piece("a.csv", b"x", 7, start=True, first=True, last=True, final=True))
    assert said == [{"got": 7}]


def test_a_file_beyond_the_limit_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    upload = Upload("Open files", most_mb=0.00001)
    said = answers(upload, monkeypatch)
    upload._handle_msg(piece("a.csv", b"x" * 11, 1, start=True, first=True, last=True, final=True))
    assert upload.files == [] and said[0]["got"] == 1 and "a.csv: more than 0 MB" in said[0]["refused"]


def test_the_browser_does_not_set_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    upload = Upload("Open files", most_mb=0.001)
    said = answers(upload, monkeypatch)
    upload.most_mb = 1e9  # as a message of the browser would
    upload._handle_msg(piece("a.csv", b"x" * 1001, 1, start=True, first=True, last=True, final=True))
    assert "refused" in said[0]


def test_pieces_without_an_end_do_not_pile_up(monkeypatch: pytest.MonkeyPatch) -> None:
    from dashboard import arrivals

    monkeypatch.setattr(arrivals, "MOST_ON_THE_WAY", arrivals.on_the_way() + 25_000)
    uploads = [Upload("Open files", several=True, most_mb=0.01) for _ in range(4)]
    said = [answers(u, monkeypatch) for u in uploads]
    for i, upload in enumerate(uploads):  # each below its own limit, all together above that of the process
        upload._handle_msg(piece("a.csv", b"x" * 9_000, i, start=True, first=True))
    assert ["refused" in s[0] for s in said] == [False, False, True, True]
    monkeypatch.setattr(arrivals, "MOST_ON_THE_WAY", 1_000_000_000)
    for k in range(30):  # whole files of which none is the final one
        uploads[0]._handle_msg(piece(f"{k}.csv", b"x" * 1_000, k, first=True, last=True))
    assert any("too much in one go" in s.get("refused", "") for s in said[0])
    uploads[1]._arrival.let_go()
    assert arrivals.on_the_way() <= 25_000 and uploads[0]._arrival.take({}) == ([], "What came was no piece of a file.")


def test_an_upload_that_breaks_off_is_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    from dashboard import arrivals

    monkeypatch.setattr(arrivals, "PATIENCE_S", 0.1)
    before = arrivals.on_the_way()
    upload = Upload("Open files")
    said = answers(upload, monkeypatch)
    upload._handle_msg(piece("a.csv", b"x" * 5_000, 1, start=True, first=True))
    assert arrivals.on_the_way() == before + 5_000
    until = time.monotonic() + 30
    while arrivals.on_the_way() > before and time.monotonic() < until:
        time.sleep(0.02)
    assert arrivals.on_the_way() == before
    upload._handle_msg(piece("a.csv", b"x", 2, last=True, final=True))
    assert "its beginning is missing" in said[1]["refused"]


@pytest.mark.parametrize("message", [{}, None, {"number": 1, "piece": "%%", "name": "a"}, {"number": 2, "piece": 5}])
def test_what_is_no_piece_is_answered(message: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    upload = Upload("Open files")
    said = answers(upload, monkeypatch)
    upload._handle_msg(message)
    assert "no piece of a file" in said[0]["refused"]


def test_sections_and_pages_say_where_one_is() -> None:
    fold, turn = Fold("Filter by level", level=3), Turn(count=4, value=2)
    assert (told(fold).label, told(fold).level, told(fold).open) == ("Filter by level", 3, False)
    assert (told(turn).count, told(turn).value) == (4, 2)
    with pytest.raises(ValueError, match="count"):
        turn.count = 0


@pytest.mark.parametrize(
    ("field", "look", "value"),
    [
        (Words("Reason", value="stirrer stopped"), "words", "stirrer stopped"),
        (Tick("Challenge", value=True), "tick", True),
        (Amount("Water (mg/kg)", sliding=True, value=10.0, start=0.0, end=60.0), "slider", 10.0),
        (Amount("Fillings", value=3, whole=True), "number", 3),
    ],
    ids=["words", "tick", "slider", "number"],
)
def test_fields_bring_their_value_and_their_explanation(field: Any, look: str, value: Any) -> None:
    assert parts.explained(field, "One line.", width=300) is field
    shown = told(field)
    assert (shown.look, shown.value, shown.hint) == (look, value, "One line.")
    assert field._debounce == 0, "a button that is pressed next must find what was typed"


def test_one_of_many_is_searched_for() -> None:
    choice = Choice("Filling", ["filling 1", "filling 2"], value="filling 2", look="search")
    assert told(choice).look == "search" and told(choice).chosen == ["filling 2"]
