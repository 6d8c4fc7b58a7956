"""Version 3: every kind of row of a disc's custody. The tables are emptied and filled anew from the log."""

REPLAY = True
STATEMENTS = (
    "DROP TABLE sides",
    "DROP TABLE findings",
    "DROP TABLE writings",
    "DROP TABLE reads",
    "DROP TABLE discs",
    "DROP TABLE lots",
    "DROP TABLE drives",
    "DROP TABLE batches",
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
        catalogue TEXT NOT NULL,
        batch INTEGER NOT NULL,
        number INTEGER NOT NULL,
        lot INTEGER,
        inner_box INTEGER,
        dropped BOOLEAN NOT NULL,
        imaged BOOLEAN NOT NULL,
        verdict INTEGER NOT NULL,
        state TEXT NOT NULL,
        counts INTEGER NOT NULL,
        rewritten BOOLEAN NOT NULL,
        first_read BOOLEAN NOT NULL,
        first_bad BOOLEAN NOT NULL,
        simulated BOOLEAN NOT NULL,
        at TEXT,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        UNIQUE (serial),
        FOREIGN KEY(batch) REFERENCES batches (line),
        FOREIGN KEY(lot) REFERENCES lots (line)
    )
    """,
    """
    CREATE TABLE events (
        line INTEGER NOT NULL,
        kind TEXT NOT NULL,
        what TEXT,
        name TEXT,
        disc INTEGER,
        drive INTEGER,
        lot INTEGER,
        batch INTEGER,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        FOREIGN KEY(disc) REFERENCES discs (line),
        FOREIGN KEY(drive) REFERENCES drives (line),
        FOREIGN KEY(lot) REFERENCES lots (line),
        FOREIGN KEY(batch) REFERENCES batches (line)
    )
    """,
    """
    CREATE TABLE holds (
        line INTEGER NOT NULL,
        drive INTEGER NOT NULL,
        "after" INTEGER NOT NULL,
        disc INTEGER NOT NULL,
        side TEXT NOT NULL,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        FOREIGN KEY(drive) REFERENCES drives (line),
        FOREIGN KEY(disc) REFERENCES discs (line)
    )
    """,
    """
    CREATE TABLE images (
        line INTEGER NOT NULL,
        disc INTEGER NOT NULL,
        side TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        PRIMARY KEY (line),
        FOREIGN KEY(line) REFERENCES log (number),
        FOREIGN KEY(disc) REFERENCES discs (line)
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
        action TEXT NOT NULL,
        accepted BOOLEAN NOT NULL,
        practice BOOLEAN NOT NULL,
        void BOOLEAN NOT NULL,
        simulated BOOLEAN NOT NULL,
        at TEXT NOT NULL,
        operator TEXT,
        file TEXT NOT NULL,
        sha256 TEXT,
        report TEXT,
        capture BOOLEAN NOT NULL,
        identity TEXT,
        margin FLOAT,
        PRIMARY KEY (line),
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
        verdict INTEGER NOT NULL,
        writing INTEGER,
        newest INTEGER,
        PRIMARY KEY (disc, side),
        FOREIGN KEY(disc) REFERENCES discs (line),
        FOREIGN KEY(newest) REFERENCES reads (line)
    )
     WITHOUT ROWID
    """,
    """
    CREATE TABLE writings (
        disc INTEGER NOT NULL,
        side TEXT NOT NULL,
        number INTEGER NOT NULL,
        line INTEGER NOT NULL,
        batch INTEGER NOT NULL,
        drive INTEGER,
        bench BOOLEAN NOT NULL,
        is_first BOOLEAN NOT NULL,
        first INTEGER,
        first_here INTEGER,
        reader INTEGER,
        bad_here BOOLEAN NOT NULL,
        saved BOOLEAN NOT NULL,
        lost BOOLEAN NOT NULL,
        denied BOOLEAN NOT NULL,
        simulated BOOLEAN NOT NULL,
        PRIMARY KEY (disc, side, number),
        FOREIGN KEY(disc) REFERENCES discs (line),
        FOREIGN KEY(line) REFERENCES log (number),
        FOREIGN KEY(batch) REFERENCES batches (line),
        FOREIGN KEY(drive) REFERENCES drives (line),
        FOREIGN KEY(first) REFERENCES reads (line),
        FOREIGN KEY(first_here) REFERENCES reads (line),
        FOREIGN KEY(reader) REFERENCES drives (line)
    )
     WITHOUT ROWID
    """,
    "CREATE INDEX ix_batches_catalogue ON batches (catalogue)",
    "CREATE INDEX discs_by_batch ON discs (batch, counts, rewritten, first_read, first_bad, simulated)",
    "CREATE INDEX discs_by_catalogue ON discs (catalogue, number)",
    "CREATE INDEX discs_by_lot ON discs (lot, inner_box, counts, rewritten, first_read, first_bad, simulated)",
    "CREATE INDEX discs_by_number ON discs (number)",
    "CREATE INDEX ix_discs_state ON discs (state)",
    "CREATE INDEX ix_events_batch ON events (batch)",
    "CREATE INDEX ix_events_disc ON events (disc)",
    "CREATE INDEX ix_events_kind ON events (kind)",
    "CREATE INDEX ix_images_disc ON images (disc)",
    "CREATE INDEX ix_images_sha256 ON images (sha256)",
    "CREATE INDEX ix_reads_disc ON reads (disc)",
    "CREATE INDEX reads_by_drive ON reads (drive)",
    "CREATE INDEX reads_by_identity ON reads (identity)",
    "CREATE INDEX reads_by_sha256 ON reads (sha256)",
    "CREATE INDEX reads_with_a_margin ON reads (margin) WHERE margin IS NOT NULL",
    "CREATE INDEX writings_by_reader ON writings (reader, is_first, bad_here, saved, lost, denied, simulated, first_here)",
    "CREATE INDEX writings_by_side ON writings (side, batch, is_first, bad_here, lost, simulated, first, first_here, drive)",
    "CREATE INDEX writings_by_writer ON writings (drive, is_first, bad_here, saved, lost, denied, simulated, first_here)",
)
