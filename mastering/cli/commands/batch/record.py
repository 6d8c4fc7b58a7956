"""`obverse batch record`: judge read-backs and put them into the ledger."""

from typing import TYPE_CHECKING, Any

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves, stamp
from mastering.cli.output import flush, json_lines, lines, message, progress
from mastering.judging.readback import Source, sources
from mastering.words.batches import disc_text, progress_text
from mastering.words.verdicts import recorded_text

if TYPE_CHECKING:
    from mastering.recording.recorder import Recorder, Said

_STATUS = {"pass": 0, "open": 0, "marginal": 1, "fail": 1}


@click.command(short_help="Judge read-backs and record them.")
@click.argument("batch")
@click.argument("readbacks", type=click.Path(), nargs=-1, required=True, metavar="READBACK|FOLDER...")
@click.option("--disc", metavar="SERIAL", help="The disc that was read, for files that are not named SERIAL-SIDE.SUFFIX.")
@click.option("--side", metavar="S", help="The side that was read, for the same.")
@click.option("--lot", metavar="L", help="The lot that the blank is from; needed where the batch has several.")
@click.option("--inner", type=click.IntRange(1), metavar="N", help="The inner box of the lot that it is from.")
@click.option("--wrote", metavar="D", help="The drive that wrote it; needed where several drives of the batch write this side.")
@click.option("--read", "read_by", metavar="D", help="The drive that read it.  [default: the one that wrote it]")
@click.option("--rewritten", is_flag=True, help="The disc was written again since its last read.")
@click.option("--new-read", is_flag=True, help="A reader used a file's name again: the same bytes are a new read (dumps only).")
@click.option("--operator", metavar="NAME", help="Who read it.  [default: the batch's]")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters, when the batch's was moved.")
@ledger_option
@json_option("Print a JSON line for each read-back, then one for each disc.")
def command(
    batch: str,
    readbacks: tuple[str, ...],
    disc: str | None,
    side: str | None,
    lot: str | None,
    inner: int | None,
    wrote: str | None,
    read_by: str | None,
    rewritten: bool,
    new_read: bool,
    operator: str | None,
    shelf: str | None,
    ledger: str | None,
    as_json: bool,
) -> int:
    """Judge read-backs of BATCH's discs against its master, and put the verdicts into the ledger.

    A read-back is named after its disc and side, as SM-004-0007-L-A.capture. What was printed is on the disk: it survives a power cut.
    Read a side after both were written. Exit status 0: every disc passes, or waits for its other side.
    """
    from mastering.recording.recorder import Said

    said = Said(disc, side, lot, wrote, read_by, rewritten, inner, operator, new_read)
    with _Recording(batch, said, shelf, ledger) as recording:
        return recording.run(list(sources(readbacks)), as_json)


class _Recording:
    """One call: what it records with, and what it has recorded so far."""

    def __init__(self, batch: str, said: "Said", shelf: str | None, ledger: str | None) -> None:
        self._ledger = open_ledger(ledger)
        try:
            self.recorder = self._recorder(batch, said, shelf)
        except BaseException:
            self._ledger.__exit__()
            raise
        self.serials: dict[str, None] = {}
        self.status = 0

    def __enter__(self) -> "_Recording":
        return self

    def __exit__(self, *error: object) -> None:
        self._ledger.__exit__()

    def _recorder(self, batch: str, said: "Said", shelf: str | None) -> "Recorder":
        from mastering.recording.masters import AtHand, find_master
        from mastering.recording.recorder import Judge, Recorder

        path = self._ledger.path
        with self._ledger.read() as known:
            found = known.batch(batch)
            batches = tuple(each.line for each in known.batches())
        master = find_master(found, path, shelves(shelf))
        return Recorder(self._ledger, found, Judge(master, AtHand(path, batches, shelves(shelf))), said, stamp)

    def run(self, found: list[Source], as_json: bool) -> int:
        """Records every read-back, then says how their discs stand, and how far the batch is."""
        for source, result in self.recorder.record_all(progress(found, "reads")):
            self._one(source, result, as_json)
        discs = list(self.recorder.discs(self.serials))
        if as_json:
            json_lines(disc.plain() for disc in discs)
        elif discs:
            lines(map(disc_text, discs))
            with self._ledger.read() as known:
                batch = known.batch(self.recorder.batch.name)
                lines([progress_text(batch, known.counts(batch))])
        if not found:
            message("no read-back was found")
            return 2
        return max(self.status, *(_STATUS[disc.verdict] for disc in discs)) if discs else self.status

    def _one(self, source: Source, result: Any, as_json: bool) -> None:
        if isinstance(result, Exception):
            self.status = 2
            if as_json:
                json_lines([{"readback": source.path, "error": str(result)}])
            else:
                message(f"error     {result}")
            return
        self.serials[result["serial"]] = None
        self.status = max(self.status, _STATUS[result["verdict"]])
        json_lines([result]) if as_json else lines(recorded_text(result, self.recorder.master))
        flush()  # an acknowledged read is on the disk; nobody should wait for its line
