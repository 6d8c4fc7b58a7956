"""What lines about the bench do in the ledger: lots, drives, batches, their changes, what happened to them."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from sqlalchemy import Table

from mastering.ledger.entities import Batch
from mastering.ledger.lines import Line, LineError, check_name
from mastering.ledger.tables import BATCHES, DRIVES, EVENTS, HOLDS, LOTS

if TYPE_CHECKING:
    from mastering.ledger.log_writer import LogWriter

Apply = Callable[["LogWriter", int, Line], None]
_OF_A_CHANGE: Mapping[str, tuple[str, ...]] = {  # what a `change` line may change
    "batch": ("good", "lots", "drives"),
    "drive": ("writes", "reads", "index", "by_hand", "tpi", "heads"),
    "lot": ("count", "coercivity", "faces", "condition", "hub_ring", "inner_box", "price", "supplier"),
}


def _lot(writer: "LogWriter", number: int, line: Line) -> None:
    _check_new(writer, LOTS, "lot", line["name"])
    writer.rows.row(LOTS, number, name=line["name"])
    writer.remember(LOTS, line["name"], number)
    writer.remember_line(number, line)


def _drive(writer: "LogWriter", number: int, line: Line) -> None:
    _check_new(writer, DRIVES, "drive", line["name"])
    writer.rows.row(DRIVES, number, name=line["name"])
    writer.remember(DRIVES, line["name"], number)
    writer.remember_line(number, line)


def _batch(writer: "LogWriter", number: int, line: Line) -> None:
    _check_new(writer, BATCHES, "batch", line["batch"])
    if not (line["sides"] and set(line["sides"]) <= {"A", "B"} and all(isinstance(each, str) for each in line["sides"].values())):
        raise LineError(f"sides is {line['sides']!r}, where sides A and B with their geometries were expected")
    for what, names in (("lot", line["lots"]), ("drive", line["drives"])):
        _check_names(writer, what, names)
    earlier = writer.digest_of(line)
    if earlier not in (None, line["digest"]):
        raise LineError(
            f"{line['master']} was opened before with another content (digest {str(earlier)[:16]}...); "
            "give the corrected program a new revision, so that the discs can be told apart"
        )
    for key in ("continues", "reworks"):
        if line.get(key) is not None:
            writer.id_of(BATCHES, "batch", line[key])
    writer.rows.row(BATCHES, number, name=line["batch"], catalogue=line["catalogue"], open=True)
    writer.keep(Batch(number, line))


def _change(writer: "LogWriter", number: int, line: Line) -> None:
    """A change of a lot, a drive or a batch: of a batch lots and drives are added."""
    changes = {key: line[key] for key in _OF_A_CHANGE[line["of"]] if line.get(key) is not None}
    if not changes:
        raise LineError(f"a change of {line['of']} {line['name']} that changes nothing: it may hold {', '.join(_OF_A_CHANGE[line['of']])}")
    if line["of"] == "batch":
        batch = open_batch(writer, line["name"])
        for what in ("lot", "drive"):
            if f"{what}s" in changes:
                _check_names(writer, what, changes[f"{what}s"])
                held = set(changes[f"{what}s"]) & set(batch.line[f"{what}s"])
                if held:
                    raise LineError(f"batch {batch.name} has {what} {', '.join(sorted(held))} already")
        _event(writer, number, line, batch=batch.id)
    else:
        table, key = (LOTS, "lot") if line["of"] == "lot" else (DRIVES, "drive")
        _event(writer, number, line, **{key: writer.id_of(table, line["of"], line["name"])})
    writer.take_change(line)


def _close(writer: "LogWriter", number: int, line: Line) -> None:
    batch = writer.batch(line["batch"])
    if not batch.open:
        raise LineError(f"batch {batch.name} is closed already")
    batch.open = False
    writer.rows.change(BATCHES, batch.id, open=False)
    writer.flush()
    for disc in writer.unfinished(batch):
        writer.changed(disc)  # what was not finished counts as abandoned from now on


def _hold(writer: "LogWriter", number: int, line: Line) -> None:
    drive, disc = writer.id_of(DRIVES, "drive", line["drive"]), writer.known_disc(line["serial"])
    if line["side"] not in disc.batch.sides:
        raise LineError(f"{disc.serial}: it has no side {line['side']}")
    writer.flush()
    after = writer.newest_pass(drive)
    disc = writer.known_disc(line["serial"])
    writer.rows.row(HOLDS, number, drive=drive, after=after, disc=disc.id, side=line["side"])
    writer.keep_hold(number, line, after)
    for each in (*writer.discs_read_by(drive, after), disc):
        writer.give_holds(each)
        writer.changed(each)
    writer.forget_serving()


def _of_a_drive(writer: "LogWriter", number: int, line: Line) -> None:
    _event(writer, number, line, drive=writer.id_of(DRIVES, "drive", line["drive"]))
    writer.take_drive_event(line["drive"], number, line)


def _of_a_lot(writer: "LogWriter", number: int, line: Line) -> None:
    _event(writer, number, line, lot=writer.id_of(LOTS, "lot", line["lot"]))


def _of_a_batch(writer: "LogWriter", number: int, line: Line) -> None:
    batch = writer.batch(line["batch"])
    _event(writer, number, line, disc=writer.disc(line["serial"], batch).id, batch=batch.id)


def _other(writer: "LogWriter", number: int, line: Line) -> None:
    _event(writer, number, line, name=line.get("order") or line.get("digest"))


def _event(writer: "LogWriter", number: int, line: Line, **about: Any) -> None:
    columns = {"disc": None, "drive": None, "lot": None, "batch": None, "name": None} | about
    writer.rows.row(EVENTS, number, kind=line["kind"], what=line.get("what"), **columns)


def open_batch(writer: "LogWriter", name: str, may_be_closed: bool = False) -> Batch:
    """A batch by its name. LineError when it is closed."""
    batch = writer.batch(name)
    if not (batch.open or may_be_closed):
        raise LineError(f"batch {batch.name} is closed; open another one for these discs")
    return batch


def _check_new(writer: "LogWriter", table: Table, what: str, name: str) -> None:
    check_name(name, what)
    if name in writer.ids(table):
        raise LineError(f"{what} {name}: there is one of that name already")


def _check_names(writer: "LogWriter", what: str, names: list[str]) -> None:
    """LineError unless these are lots or drives, at least one, and each one once."""
    if not names or len(set(names)) != len(names):
        raise LineError(f"a batch needs at least one {what}, and each one once")
    for name in names:
        writer.id_of(LOTS if what == "lot" else DRIVES, what, name)


APPLY: Mapping[str, Apply] = {
    "lot": _lot,
    "drive": _drive,
    "batch": _batch,
    "change": _change,
    "close": _close,
    "hold": _hold,
    "drive-check": _of_a_drive,
    "drive-log": _of_a_drive,
    "lot-stop": _of_a_lot,
    "lot-release": _of_a_lot,
    "lot-discard": _of_a_lot,
    "label": _of_a_batch,
    "master": _other,
    "order": _other,
    "stock": _other,
}
