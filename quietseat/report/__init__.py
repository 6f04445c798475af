"""A Study as files people read: page, paper, workbook and list of problems. Imports nothing that calculates."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from quietseat.report.build import StudyLike

__all__ = ["write"]


def write(study: StudyLike, folder: str | Path, progress: Callable[[int, int, str], None] | None = None) -> list[Path]:
    """Write study.html, study.pdf, summary.pdf, study.xlsx, problems.csv and fit-drawings/*.dxf into a folder; returns their paths.

    study: a Study (head, records, ranked); head["issue"], where it stands, tells who has issued and reviewed it. progress: called with
    done, total and the name of the part. Same study, same bytes. study.json is written by the Study itself. Raises OSError where the
    folder cannot be written.
    """
    from quietseat.report import build, fit, html, pdf, problems, xlsx

    say = progress or (lambda done, total, name: None)
    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    say(0, 5, "document")
    found = build.survey(study)
    document = build.build(study, found)
    say(1, 5, "study.html")
    files = [_put(place / "study.html", html.render(document).encode())]
    say(2, 5, "summary.pdf")
    files.append(_put(place / "summary.pdf", pdf.render(build.summary(study, found))))
    say(3, 5, "study.pdf")
    files.append(_put(place / "study.pdf", pdf.render(document)))
    say(4, 5, "study.xlsx")
    files.append(_put(place / "study.xlsx", xlsx.render(study, found)))
    files.append(_put(place / "problems.csv", problems.render(study.head.get("problems") or ()).encode()))
    files += fit.write_dxf(place, study)
    say(5, 5, "done")
    return files


def _put(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path
