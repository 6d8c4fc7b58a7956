"""The recorded files that still lie where they were read: whether each has the bytes that were judged."""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from formats.bounds import LARGEST_CAPTURE
from mastering.files import digest
from mastering.judging.readback import ReadBackError, read_bounded, report_path
from mastering.ledger.lines import Line, logged
from mastering.ledger.store import Ledger

Progress = Callable[[list[Line], str], Iterable[Line]]


def changed_files(ledger: Ledger, progress: Progress) -> Iterator[str]:
    """What is wrong with recorded files: other bytes than were judged. A file that is gone is nobody's fault."""
    lines: Iterable[Line] = (logged(text) for _, text, _ in ledger.texts() if '"kind":"read"' in text)
    reads = [line for line in lines if line["kind"] == "read"]
    for line in progress(reads, "files"):
        path = path_of(line, ledger.path)
        if path is None or line.get("file_sha256") is None:
            continue
        try:
            found = digests(path, line)
        except ReadBackError:
            yield f"{path}: read {line['read']} of {line['serial']} can't be read any more"
            continue
        if found not in expected(line):
            yield f"{path}: other bytes than read {line['read']} of {line['serial']} was judged by"


def path_of(line: Line, ledger: Path) -> Path | None:
    """Where a read's file lies: as it was named then, seen from here or from the ledger's folder; None where it is gone."""
    beside = ledger.absolute().parent
    named = [line["readback"]] if line.get("path") is None else [line["path"], line["readback"]]
    places = (place for name in named for place in (beside / name, Path(name)))
    return next((place for place in places if place.is_file()), None)


def digests(path: Path, line: Line) -> tuple[str, str | None]:
    """The SHA-256 of a file, and of the report beside it where the read had one. ReadBackError when one can't be read."""
    own = digest(read_bounded(str(path), LARGEST_CAPTURE))
    report = Path(report_path(str(path)))
    has_report = line.get("report_sha256") is not None or (line["evidence"] == "report" and report.is_file())
    return own, digest(read_bounded(str(report), LARGEST_CAPTURE)) if has_report else None


def expected(line: Line) -> "_Either":
    """The digests that a read's file and report must have."""
    return _Either(line)


class _Either:
    """Both digests of a row, or the one over both that rows of earlier ledgers have."""

    def __init__(self, line: Line) -> None:
        self._line = line

    def __contains__(self, found: tuple[str, str | None]) -> bool:
        own, report = found
        wanted = self._line["file_sha256"]
        if (own, report) == (wanted, self._line.get("report_sha256")):
            return True
        return report is not None and digest(f"{own}{report}".encode()) == wanted
