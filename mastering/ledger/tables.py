"""The ledger's tables. `log` holds what happened, a line each, chained; the others hold what follows from it, for questions.

A row of `log` is never changed. Whatever has its own line (a lot, a disc, a read ...) has that line's number as its key. `ledger check`
proves that the other tables are what the log gives.
"""

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, MetaData, Table, Text, UniqueConstraint

METADATA = MetaData()


def _line() -> Column[int]:
    return Column("line", Integer, ForeignKey("log.number"), primary_key=True)


LOG = Table(
    "log",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("text", Text, nullable=False),
    Column("digest", Text, nullable=False),  # SHA-256 over the digest before and this text
    sqlite_autoincrement=True,  # so that a last row that was deleted leaves a gap
)
LOTS = Table("lots", METADATA, _line(), Column("name", Text, nullable=False, unique=True))
DRIVES = Table("drives", METADATA, _line(), Column("name", Text, nullable=False, unique=True))
BATCHES = Table(
    "batches",
    METADATA,
    _line(),
    Column("name", Text, nullable=False, unique=True),
    Column("catalogue", Text, nullable=False, index=True),
    Column("open", Boolean, nullable=False),
)
DISCS = Table(
    "discs",
    METADATA,
    _line(),
    Column("serial", Text, nullable=False, unique=True),
    Column("batch", Integer, ForeignKey("batches.line"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("lot", Integer, ForeignKey("lots.line")),
    Column("rejected", Boolean, nullable=False),
    Column("verdict", Integer, nullable=False),  # its rank: 0 pass, 1 marginal, 2 open, 3 fail
    Column("rewritten", Boolean, nullable=False),
    Column("first_bad", Boolean, nullable=False),
    Column("simulated", Boolean, nullable=False),
)
WRITINGS = Table(
    "writings",
    METADATA,
    _line(),  # of the read with which it became known
    Column("disc", Integer, ForeignKey("discs.line"), nullable=False),
    Column("side", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("drive", Integer, ForeignKey("drives.line")),
    UniqueConstraint("disc", "side", "number"),
)
READS = Table(
    "reads",
    METADATA,
    _line(),
    Column("disc", Integer, ForeignKey("discs.line"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("side", Text),
    Column("writing", Integer),
    Column("drive", Integer, ForeignKey("drives.line")),
    Column("verdict", Text, nullable=False),
    Column("diagnosis", Text),
    Column("void", Boolean, nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("file", Text, nullable=False),
    Column("sha256", Text),
    Column("capture", Boolean, nullable=False),
)
FINDINGS = Table(
    "findings",  # how many sectors of a track a read found wrong
    METADATA,
    Column("read", Integer, ForeignKey("reads.line"), primary_key=True),
    Column("head", Integer, primary_key=True),
    Column("track", Integer, primary_key=True),
    Column("bad", Integer, nullable=False),  # neither soft nor left out
    Column("soft", Integer, nullable=False),
    Column("not_tried", Integer, nullable=False),
    sqlite_with_rowid=False,
)
SIDES = Table(
    "sides",  # how each side of a disc stands
    METADATA,
    Column("disc", Integer, ForeignKey("discs.line"), primary_key=True),
    Column("side", Text, primary_key=True),
    Column("batch", Integer, ForeignKey("batches.line"), nullable=False),
    Column("verdict", Integer, nullable=False),
    Column("writing", Integer),
    Column("wrote", Integer, ForeignKey("drives.line")),
    Column("newest", Integer, ForeignKey("reads.line")),
    Column("read_by", Integer, ForeignKey("drives.line")),
    Column("first", Integer, ForeignKey("reads.line")),
    Column("first_bad", Boolean, nullable=False),
    Column("simulated", Boolean, nullable=False),
    sqlite_with_rowid=False,
)
Index("reads_by_sha256", READS.c.sha256)
# What rates ask for, in the order in which they ask for it: the rows themselves are not looked at.
_OF_DISC = [DISCS.c[name] for name in ("verdict", "rewritten", "first_bad", "simulated")]
_OF_SIDE = [SIDES.c[name] for name in ("verdict", "writing", "first_bad", "simulated")]
Index("discs_by_batch", DISCS.c.batch, *_OF_DISC)
Index("discs_by_lot", DISCS.c.lot, *_OF_DISC)
Index("sides_by_side", SIDES.c.side, SIDES.c.batch, *_OF_SIDE)
Index("sides_by_writer", SIDES.c.disc, SIDES.c.wrote, *_OF_SIDE)
Index("sides_by_reader", SIDES.c.disc, SIDES.c.read_by, *_OF_SIDE)

VERSION = 2  # of the schema; each step to the next is a module in `migrations`
