"""From a study to a file on disk: which form, and that no measured values are overwritten."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterable
from pathlib import Path

from dashboard.report.asked import Asked
from dashboard.report.document import Report
from dashboard.report.gather import Progress, gather
from methods.errors import InputError

ENDINGS: tuple[str, ...] = (".html", ".pdf", ".xlsx", ".docx", ".md")


def ending_of(path: str | os.PathLike[str]) -> str:
    """The form that the ending of ``path`` asks for.

    Raises
    ------
    InputError
        Another ending.
    """
    ending = Path(path).suffix.lower()
    ending = ".html" if ending == ".htm" else ending
    if ending not in ENDINGS:
        found = f"ends in {ending!r}" if ending else "has no ending"
        raise InputError(
            f"The report {str(path)!r} {found}; it must end in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}.",
            column="out", text=str(path), rule=" or ".join(ENDINGS),
        )  # fmt: skip
    return ending


def check_target(path: str | os.PathLike[str], sources: Iterable[str | os.PathLike[str]] = ()) -> str:
    """Refuse, before anything is computed, a place that cannot be written or is one of the measured files.

    Raises
    ------
    InputError
        Unknown ending, no such folder, a folder, or one of ``sources``.
    MissingExtra
        A PDF or a DOCX without what makes one.
    """
    ending = ending_of(path)
    target = Path(path)
    if not target.parent.is_dir():
        raise InputError(f"There is no folder {str(target.parent)!r} to write the report to.", text=str(path))
    if target.is_dir():
        raise InputError(f"{str(path)!r} is a folder; name a file for the report.", text=str(path))
    for source in sources:
        if target.exists() and Path(source).exists() and target.samefile(source):
            raise InputError(
                f"The report would overwrite the measured values in {str(source)!r}; give it another name.",
                text=str(path),
            )  # fmt: skip
    if ending == ".pdf":
        from dashboard.report.pdf import library

        library()
    if ending == ".docx":
        from dashboard.report.docx import library

        library()
    return ending


def content(report: Report, ending: str) -> bytes:
    """The report as the bytes of a file in that form."""
    if ending == ".html":
        from dashboard.report.html import render

        return render(report).encode("utf-8")
    if ending == ".pdf":
        from dashboard.report.pdf import render_pdf

        return render_pdf(report)
    if ending == ".docx":
        from dashboard.report.docx import render_docx

        return render_docx(report)
    if ending == ".md":
        from dashboard.report.markdown import render_markdown

        return render_markdown(report).encode("utf-8")
    from dashboard.report.workbook import render_workbook

    return render_workbook(report)


def write(asked: Asked, path: str | os.PathLike[str], progress: Progress | None = None, whole: bool = False) -> Report:
    """Gather the report and write it; the file appears whole or not at all.

    ``whole`` also gathers what only the appendix shows, as :func:`dashboard.report.gather.gather` does.

    Raises
    ------
    InputError
        See :func:`check_target` and :func:`dashboard.report.gather.gather`.
    """
    sources = [f.source for f in asked.study.files if not isinstance(f.source, bytes)]
    ending = check_target(path, sources)
    report = gather(asked, progress, whole=whole or ending == ".xlsx")
    data = content(report, ending)
    target = Path(path)
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.stem}-", suffix=ending)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(name, 0o666 & ~mask)
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return report


def save_pictures(report: Report, folder: str | os.PathLike[str]) -> list[Path]:
    """Every picture of the report as SVG and as PNG at print size, each under a name that tells what it shows.

    Raises
    ------
    InputError
        The folder cannot be made, or a file in it cannot be written.
    """
    where, saved = Path(folder), []
    try:
        where.mkdir(parents=True, exist_ok=True)
        for section in report.sections:
            for number, picture in enumerate(section.pictures, 1):
                plain = re.sub(r"[^a-z0-9]+", "_", picture.title.casefold()).strip("_")[:60]
                name = f"{section.key}_{number}_{plain}"
                files = {".svg": _standing_alone(str(picture.svg)).encode("utf-8"), ".png": picture.png}
                for ending, data in files.items():
                    if data is not None:
                        target = where / f"{name}{ending}"
                        target.write_bytes(data)
                        saved.append(target)
    except OSError as error:
        raise InputError(f"The pictures cannot be written to {folder}: {error.strerror}.") from error
    return saved


def _standing_alone(svg: str) -> str:
    """The element as a file of its own, in its name spaces."""
    head = svg[: svg.index(">")]
    spaces = {"xmlns": "http://www.w3.org/2000/svg", "xmlns:xlink": "http://www.w3.org/1999/xlink"}
    missing = "".join(f' {name}="{value}"' for name, value in spaces.items() if f"{name}=" not in head)
    return svg.replace("<svg", f"<svg{missing}", 1) if missing else svg
