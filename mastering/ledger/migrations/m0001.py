"""Version 1: the first schema."""

STATEMENTS = (
    """
    CREATE TABLE log (
        number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
        text TEXT NOT NULL,
        digest TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE batches (
        line INTEGER NOT NULL,
        name TEXT NOT NULL,
        catalogue TEXT NOT NULL,
        open BOOLEAN NOT NULL,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        UNIQUE (name)
    )
    """,
    """
    CREATE TABLE drives (
        line INTEGER NOT NULL,
        name TEXT NOT NULL,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        UNIQUE (name)
    )
    """,
    """
    CREATE TABLE lots (
        line INTEGER NOT NULL,
        name TEXT NOT NULL,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        UNIQUE (name)
    )
    """,
    """
    CREATE TABLE discs (
        line INTEGER NOT NULL,
        serial TEXT NOT NULL,
        batch INTEGER NOT NULL,
        number INTEGER NOT NULL,
        lot INTEGER,
        rejected BOOLEAN NOT NULL,
        verdict INTEGER NOT NULL,
        rewritten BOOLEAN NOT NULL,
        first_bad BOOLEAN NOT NULL,
        simulated BOOLEAN NOT NULL,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        UNIQUE (serial),
        FOREIGN KEY(batch) REFERENCES batches (line),
        FOREIGN KEY(lot) REFERENCES lots (line)
    )
    """,
    """
    CREATE TABLE reads (
        line INTEGER NOT NULL,
        disc INTEGER NOT NULL,
        number INTEGER NOT NULL,
        side TEXT,
        writing INTEGER,
        drive INTEGER,
        verdict TEXT NOT NULL,
        diagnosis TEXT,
        void BOOLEAN NOT NULL,
        simulated BOOLEAN NOT NULL,
        file TEXT NOT NULL,
        sha256 TEXT,
        capture BOOLEAN NOT NULL,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        FOREIGN KEY(disc) REFERENCES discs (line),
        FOREIGN KEY(drive) REFERENCES drives (line)
    )
    """,
    """
    CREATE TABLE writings (
        line INTEGER NOT NULL,
        disc INTEGER NOT NULL,
        side TEXT NOT NULL,
        number INTEGER NOT NULL,
        drive INTEGER,
        PRIMARY KEY (line),
        UNIQUE (disc, side, number),
        FOREIGN KEY(line) REFERENCES log (number),
        FOREIGN KEY(disc) REFERENCES discs (line),
        FOREIGN KEY(drive) REFERENCES drives (line)
    )
    """,
    """
    CREATE TABLE findings (
        read INTEGER NOT NULL,
        head INTEGER NOT NULL,
        track INTEGER NOT NULL,
        bad INTEGER NOT NULL,
        soft INTEGER NOT NULL,
        not_tried INTEGER NOT NULL,
        PRIMARY KEY (read, head, track),
        FOREIGN KEY(read) REFERENCES reads (line)
    )
     WITHOUT ROWID
    """,
    """
    CREATE TABLE sides (
        disc INTEGER NOT NULL,
        side TEXT NOT NULL,
        batch INTEGER NOT NULL,
        verdict INTEGER NOT NULL,
        writing INTEGER,
        wrote INTEGER,
        newest INTEGER,
        read_by INTEGER,
        first INTEGER,
        first_bad BOOLEAN NOT NULL,
        simulated BOOLEAN NOT NULL,
        PRIMARY KEY (disc, side),
        FOREIGN KEY(disc) REFERENCES discs (line),
        FOREIGN KEY(batch) REFERENCES batches (line),
        FOREIGN KEY(wrote) REFERENCES drives (line),
        FOREIGN KEY(newest) REFERENCES reads (line),
        FOREIGN KEY(read_by) REFERENCES drives (line),
        FOREIGN KEY(first) REFERENCES reads (line)
    )
     WITHOUT ROWID
    """,
    "CREATE INDEX ix_batches_catalogue ON batches (catalogue)",
    "CREATE INDEX ix_discs_batch ON discs (batch)",
    "CREATE INDEX ix_reads_disc ON reads (disc)",
    "CREATE INDEX reads_by_sha256 ON reads (sha256)",
    "CREATE INDEX ix_writings_disc ON writings (disc)",
)
