"""What was once found by attack, and the tests that hold each of it; the small ones that stood nowhere else are here.

``HELD`` is the list: a sentence of what went wrong, and the tests. A test of this module sees that they are there.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from dashboard.report import Asked, write
from dashboard.study import Study
from methods.records import read

TESTS = Path(__file__).resolve().parents[1]

HELD = {
    "a page fails for a file without an order column, and never opens again":
        ["dashboard/test_every_page.py::test_the_page_is_drawn"],
    "a page whose server is gone looks alive; it comes back, and asks for the file with its settings kept":
        ["browser/test_away.py::test_a_dead_page_says_so_comes_back_and_asks_for_the_users_own_file",
         "browser/test_frame.py::test_loaded_anew_own_files_are_asked_for_and_their_settings_kept"],
    "a session is fixed by its address and read by another process":
        ["dashboard/test_gate.py::test_an_address_names_no_session",
         "dashboard/test_gate.py::test_nor_does_one_that_the_server_gave_to_another_visitor",
         "dashboard/test_gate.py::test_a_token_of_ones_own_making_opens_no_socket"],
    "the page goes past sign-in":
        ["dashboard/test_gate.py::test_with_a_password_nobody_comes_in_without",
         "dashboard/test_entrances.py::test_no_route_goes_past_the_service"],
    "a page of another host that resolves here reads records":
        ["dashboard/test_gate.py::test_a_page_of_another_host_that_points_here_gets_nothing"],
    "the browser sets the limit of an upload": ["dashboard/test_actions.py::test_the_browser_does_not_set_the_limit"],
    "pieces of files without an end pile up, and what breaks off stays":
        ["dashboard/test_actions.py::test_pieces_without_an_end_do_not_pile_up",
         "dashboard/test_actions.py::test_an_upload_that_breaks_off_is_let_go"],
    "30,000,000 rows pass a limit of 20": ["hostile/test_killers.py::test_it_ends_well"],
    "records outlive their session": ["dashboard/test_cache.py::test_records_do_not_outlive_their_session"],
    "a neighbour's file is seen, also through caches":
        ["browser/test_neighbours.py::test_nobody_sees_a_neighbours_file"],
    "long work holds the event loop":
        ["dashboard/test_jobs.py::test_the_loop_turns_while_the_work_computes",
         "dashboard/test_jobs.py::test_another_session_is_served_during_a_long_job"],
    "errors of libraries pass as foreign exceptions, and in the browser nothing is said":
        ["hostile/test_killers.py::test_it_ends_well", "hostile/test_properties.py::test_bytes",
         "hostile/test_attacks.py::test_the_page_says_why_a_damaged_file_was_not_read",
         "browser/test_frame.py::test_a_file_that_is_none_is_told_and_nothing_changes"],
    "a level named like mathematics ends the report":
        ["dashboard/test_tampered.py::test_a_level_is_text_in_the_report",
         "hostile/test_attacks.py::test_levels_like_mathematics_are_text_in_every_form_of_the_report"],
    "a tampered study file, or a hundred thousand exclusions":
        ["dashboard/test_tampered.py::test_a_tampered_study_file_is_one_line_or_opens",
         "dashboard/test_tampered.py::test_files_that_are_none_are_told",
         "dashboard/test_tampered.py::test_a_hundred_thousand_exclusions_are_looked_up_together"],
    "a tampered address or recipe":
        ["dashboard/test_tampered.py::test_a_tampered_address_shows_a_page",
         "hostile/test_attacks.py::test_a_tampered_recipe_is_one_line"],
    "a failed page asks four files of another host, and tells of the inside":
        ["dashboard/test_error_pages.py::test_a_session_that_fails_is_told_in_words_without_another_host",
         "dashboard/test_error_pages.py::test_what_is_refused_says_nothing_of_the_inside"],
    "a pipe, a device, links in a circle, names too long":
        ["hostile/test_sources.py::test_a_path_that_is_no_file_is_one_line",
         "hostile/test_sources.py::test_a_pipe_is_read_and_one_that_stays_silent_is_left"],
    "an empty address": ["dashboard/test_gate.py::test_an_empty_address_is_told"],
    "1e308 and 1e-300 kV": ["hostile/test_sources.py::test_a_voltage_at_the_edge_of_numbers_ends_in_words"],
    "escape codes reach the terminal": ["hostile/test_terminal.py::test_no_command_prints_it"],
    "a job whose session is gone keeps its slot":
        ["dashboard/test_jobs.py::test_a_job_whose_session_ends_lets_its_slot_go",
         "dashboard/test_jobs.py::test_a_page_s_numbers_that_no_session_waits_for_end_their_process"],
    "a flood of pages builds sessions": ["dashboard/test_gate.py::test_a_flood_of_pages_builds_few_sessions"],
    "markup is run": ["browser/test_neighbours.py::test_what_a_file_holds_is_text_on_every_page"],
    "a ceiling enters the minutes of a method":
        ["dashboard/test_tampered.py::test_ceilings_are_not_in_the_minutes_of_a_method"],
    "rows without a breakdown are taken for headings; a row cut by a line break loses a reading":
        ["hostile/test_attacks.py::test_small_files_lose_no_reading"],
}  # fmt: skip


@pytest.mark.parametrize("what", HELD)
def test_each_is_held_by_a_test_that_is_there(what: str) -> None:
    assert HELD[what]
    for name in HELD[what]:
        file, _, function = name.partition("::")
        tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
        assert function in {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}, name


NO_BD = "".join(f"disk,{'no BD' if i < 6 else 41 + i % 7}\n" for i in range(12))
SMALL = {
    "no BD first": ("electrode,kv\n" + NO_BD, 12, 6),
    "no BD first, with an oil": ("sample,electrode,kv\n"
                                 + "".join(f"A,{r}\n" for r in NO_BD.split("\n")[:-1]), 12, 6),
    "cut by a line break": ("sample,electrode,note,kv\nA,disk,fine,41\nA,disk,first\nsecond line,42\nA,disk,ok,43\n",
                            3, 3),
    "no order": ("sample,filling,kv\n" + "".join(f"A,{f},{50 + f + i}.5\n" for f in (1, 2) for i in range(6)), 12, 12),
}  # fmt: skip


@pytest.mark.parametrize("kind", SMALL)
def test_small_files_lose_no_reading(kind: str) -> None:
    text, rows, used = SMALL[kind]
    found = read(text.encode(), name="small.csv")
    assert (found.rows_read, len(found.table)) == (rows, used)
    assert found.rows_read == found.breakdowns + found.withstood + found.refused


def test_levels_like_mathematics_are_text_in_every_form_of_the_report(tmp_path: Path) -> None:
    levels = ("$\\badcmd{x}$", "cost $5 and $6", "$$\\frac{1}{2}$$")
    rows = [f'"{v}",{f},{50 + i + f}.5' for v in levels for f in (1, 2, 3) for i in range(3)]
    study = Study()
    study.open(("electrode2,filling,kv\n" + "\n".join(rows) + "\n").encode(), "math.csv")
    study.by = "electrode2"
    for ending in ("html", "md", "docx"):
        out = tmp_path / f"report.{ending}"
        write(Asked(study, "", "", "", 0.10, 0), out)
        assert out.stat().st_size > 1000


def damaged() -> dict[str, bytes]:
    from tests.hostile.killers import KILLERS, sound_rows, workbook

    whole = workbook(sound_rows(300))
    return {
        "cut.xlsx": whole[: len(whole) // 2], "damaged.xlsx": KILLERS["damaged_deflate"]()[1],
        "cut.parquet": b"PAR1" + b"\x00" * 400 + b"PAR1", "half.csv": b"\xff\xfe" + b"\x00\xd8" * 40,
    }  # fmt: skip


@pytest.mark.parametrize("name", ["cut.xlsx", "damaged.xlsx", "cut.parquet", "half.csv"])
def test_the_page_says_why_a_damaged_file_was_not_read(name: str) -> None:
    from dashboard.pages.records_open import Opener

    opener = Opener(Study())
    opener._file.files = [(name, damaged()[name])]
    told = opener._wrong.text
    assert told.startswith(f"{name} was not read.") and "Traceback" not in told and "\n" not in told


@pytest.mark.parametrize("text", [
    "[[", "a = ", "format = 99", "areas = 3", "columns = [1]", "\x00", "sheet = " + "[" * 2000, "[columns]\nkv = 5",
])  # fmt: skip
def test_a_tampered_recipe_is_one_line(text: str) -> None:
    from methods.errors import InputError

    with pytest.raises(InputError) as told:
        read(b"electrode,kv\ndisk,41\ndisk,42\n", name="a.csv", recipe=text)
    assert "\n" not in str(told.value)
