"""The ledger's tables. `log` holds what happened, a line each, chained; the others hold what follows from it, for questions.

A row of `log` is never changed. Whatever has its own line (a lot, a disc, a read ...) has that line's number as its key. `ledger check`
proves that the other tables are what the log gives.
"""

from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, MetaData, Table, Text

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
    Column("catalogue", Text, nullable=False),
    Column("batch", Integer, ForeignKey("batches.line"), nullable=False),  # its newest one
    Column("number", Integer, nullable=False),
    Column("lot", Integer, ForeignKey("lots.line")),
    Column("inner_box", Integer),
    Column("dropped", Boolean, nullable=False),
    Column("imaged", Boolean, nullable=False),
    Column("verdict", Integer, nullable=False),  # its rank: 0 pass, 1 marginal, 2 open, 3 fail
    Column("state", Text, nullable=False, index=True),
    Column("counts", Integer, nullable=False),  # how it counts, as in COUNTS
    Column("rewritten", Boolean, nullable=False),
    Column("first_read", Boolean, nullable=False),
    Column("first_bad", Boolean, nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("at", Text),  # of its newest writing's first read
)
WRITINGS = Table(
    "writings",
    METADATA,
    Column("disc", Integer, ForeignKey("discs.line"), primary_key=True),
    Column("side", Text, primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("line", Integer, ForeignKey("log.number"), nullable=False),  # where it was begun
    Column("batch", Integer, ForeignKey("batches.line"), nullable=False),
    Column("drive", Integer, ForeignKey("drives.line")),
    Column("bench", Boolean, nullable=False),
    # What follows from its reads. `first`: the first one that settles (by drive also where a hold unsettles it: `first_here`)
    Column("is_first", Boolean, nullable=False),
    Column("first", Integer, ForeignKey("reads.line")),
    Column("first_here", Integer, ForeignKey("reads.line")),
    Column("reader", Integer, ForeignKey("drives.line")),  # of `first_here`
    Column("bad_here", Boolean, nullable=False),  # `first_here` did not pass
    Column("saved", Boolean, nullable=False),
    Column("lost", Boolean, nullable=False),
    Column("denied", Boolean, nullable=False),
    Column("simulated", Boolean, nullable=False),
    sqlite_with_rowid=False,
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
    Column("action", Text, nullable=False),
    Column("accepted", Boolean, nullable=False),
    Column("practice", Boolean, nullable=False),
    Column("void", Boolean, nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("at", Text, nullable=False),
    Column("operator", Text),
    Column("file", Text, nullable=False),
    Column("sha256", Text),
    Column("report", Text),
    Column("capture", Boolean, nullable=False),
    Column("identity", Text),  # of the file on its disk
    Column("margin", Float),  # the chance that a plain reader loses a sector of one fresh turn
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
    Column("verdict", Integer, nullable=False),
    Column("writing", Integer),
    Column("newest", Integer, ForeignKey("reads.line")),
    sqlite_with_rowid=False,
)
IMAGES = Table(
    "images",
    METADATA,
    _line(),
    Column("disc", Integer, ForeignKey("discs.line"), nullable=False, index=True),
    Column("side", Text, nullable=False),
    Column("sha256", Text, nullable=False, index=True),
)
EVENTS = Table(
    "events",  # every other line, by what it is about
    METADATA,
    _line(),
    Column("kind", Text, nullable=False, index=True),
    Column("what", Text),
    Column("name", Text),  # an order's, a master's digest
    Column("disc", Integer, ForeignKey("discs.line"), index=True),
    Column("drive", Integer, ForeignKey("drives.line")),
    Column("lot", Integer, ForeignKey("lots.line")),
    Column("batch", Integer, ForeignKey("batches.line"), index=True),
)
HOLDS = Table(
    "holds",
    METADATA,
    _line(),
    Column("drive", Integer, ForeignKey("drives.line"), nullable=False),
    Column("after", Integer, nullable=False),  # the row of the drive's newest passing read before
    Column("disc", Integer, ForeignKey("discs.line"), nullable=False),
    Column("side", Text, nullable=False),
)
COUNTS = ("new", "working", "good", "bad", "abandoned", "nothing")  # `nothing`: dropped, or never used

Index("reads_by_sha256", READS.c.sha256)
Index("reads_by_identity", READS.c.identity)
Index("reads_by_drive", READS.c.drive)
Index("reads_with_a_margin", READS.c.margin, sqlite_where=READS.c.margin.is_not(None))
Index("discs_by_number", DISCS.c.number)
Index("discs_by_catalogue", DISCS.c.catalogue, DISCS.c.number)
# What rates ask for, in the order in which they ask for it: the rows themselves are not looked at.
_OF_DISC = [DISCS.c[name] for name in ("counts", "rewritten", "first_read", "first_bad", "simulated")]
_OF_WRITING = [WRITINGS.c[name] for name in ("is_first", "bad_here", "saved", "lost", "denied", "simulated", "first_here")]
Index("discs_by_batch", DISCS.c.batch, *_OF_DISC)
Index("discs_by_lot", DISCS.c.lot, DISCS.c.inner_box, *_OF_DISC)
Index("writings_by_writer", WRITINGS.c.drive, *_OF_WRITING)
Index("writings_by_reader", WRITINGS.c.reader, *_OF_WRITING)
Index(
    "writings_by_side",
    WRITINGS.c.side,
    WRITINGS.c.batch,
    WRITINGS.c.is_first,
    WRITINGS.c.bad_here,
    WRITINGS.c.lost,
    WRITINGS.c.simulated,
    WRITINGS.c.first,
    WRITINGS.c.first_here,
    WRITINGS.c.drive,
)

VERSION = 3  # of the schema; each step to the next is a module in `migrations`
