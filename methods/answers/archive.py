"""What does the archive hold, and what came of adding to it?"""

from __future__ import annotations

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import plural
from methods.archive.store import Added, Listed

QUESTION = "archive"


def archive_added(found: Added) -> Answer:
    """How many readings of how many files went into the archive, and what was there already."""
    files = found.files
    refused = int(files["refused"].sum())
    said = [
        f"{plural(int(files['rows_added'].sum()), 'reading')} of {plural(len(files), 'file')} added to {found.archive}",
        f"{plural(int(files['fillings_known'].sum()), 'filling')} kept already"
        if files["fillings_known"].any()
        else "",
        f"{plural(refused, 'reading')} refused; 'gapshift check' says which and why" if refused else "",
    ]
    again = files["status"] == "added before"
    said.append(f"{plural(int(again.sum()), 'file')} added before, byte for byte" if again.any() else "")
    sentence = "; ".join(s for s in said if s) + "."
    table = Table("added", "Files", files, "", OWN.get(QUESTION, {}))
    return Answer(QUESTION, (sentence,), found.cautions, (table,), (), found)


def archive_content(found: Listed) -> Answer:
    """How many tests it holds, from when to when."""
    files, own = found.files, OWN.get(QUESTION, {})
    days = [d for name in ("first_day", "last_day") for d in files[name].dropna()]
    span = f", tested {min(days)} to {max(days)}" if days else ""
    stood = f" and {found.withstood} withstood" if found.withstood else ""
    sentence = f"{plural(found.breakdowns, 'breakdown')}{stood} of {plural(len(files), 'file')}{span}."
    tables = [Table("archived_files", "Files", files.assign(sha256=files["sha256"].str[:12]), "", own)]
    if len(found.marks):
        tables.append(Table("electrode_log", "Electrode log", found.marks, "", own))
    return Answer(QUESTION, (sentence,), found.cautions, tuple(tables), (), found)
