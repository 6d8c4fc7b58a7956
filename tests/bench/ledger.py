"""The ledger's benchmarks: recording against bare inserts, and questions against ledgers of 1,000, 10,000 and 100,000 discs."""

import json
import sqlite3
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from mastering.ledger.exchange import take_anew
from mastering.ledger.store import Ledger
from mastering.simulator.bench import Bench
from mastering.simulator.history import Shop, alternately, history
from mastering.simulator.quality import Course, DriveQuality, LotQuality

OBVERSE = [sys.executable, "-m", "mastering.cli.main"]
SIZES = (1_000, 10_000, 100_000)
RECORDED = 300


def lines(discs: int, per_batch: int = 40) -> Iterator[Mapping[str, Any]]:
    """A shop's history of so many discs of five lots on two drives, invented by the simulator."""
    lots = {f"L-{number:02}": LotQuality(Course(0.02 + 0.02 * (number == 3))) for number in range(1, 6)}
    bench = Bench(1, lots, {"D1": DriveQuality(), "D2": DriveQuality()})
    return history(bench, discs, Shop(per_batch=per_batch), alternately(bench))


def tables(connection: sqlite3.Connection) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table."""
    names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")]
    return {name: connection.execute(f"SELECT * FROM {name}").fetchall() for name in names}


def recording(folder: Path) -> tuple[float, float]:
    """Seconds for a read that is recorded by the ledger, and for bare inserts of the same rows in the same journal mode."""
    given = [line for line in lines(RECORDED // 2, RECORDED // 2) if line["kind"] != "close"]
    shop = [line for line in given if line["kind"] != "read"]
    reads = [line for line in given if line["kind"] == "read"]
    path = folder / "recorded.sqlite"
    take_anew(path, map(json.dumps, shop), "bench")
    before = tables(sqlite3.connect(path))
    bare = folder / "bare.sqlite"
    bare.write_bytes(path.read_bytes())
    with Ledger.open(path) as ledger:
        start = time.perf_counter()
        for line in reads:
            with ledger.write() as writer:
                writer.add(line)
        ours = (time.perf_counter() - start) / len(reads)
    added = {name: [row for row in rows if row not in set(before[name])] for name, rows in tables(sqlite3.connect(path)).items()}
    return ours, _bare(bare, added, len(reads))


def _bare(path: Path, added: Mapping[str, list[tuple[Any, ...]]], count: int) -> float:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.execute("PRAGMA synchronous = EXTRA")
    shares = {name: _shares(rows, count) for name, rows in added.items() if rows}
    start = time.perf_counter()
    for number in range(count):
        connection.execute("BEGIN IMMEDIATE")
        for name, rows in shares.items():
            for row in rows[number]:
                connection.execute(f"INSERT OR REPLACE INTO {name} VALUES ({','.join('?' * len(row))})", row)
        connection.execute("COMMIT")
    return (time.perf_counter() - start) / count


def _shares(rows: list[tuple[Any, ...]], count: int) -> list[list[tuple[Any, ...]]]:
    """Rows dealt out evenly to so many transactions."""
    return [rows[number * len(rows) // count : (number + 1) * len(rows) // count] for number in range(count)]


def questions(folder: Path) -> Iterator[tuple[str, int, float]]:
    """What is asked, of how many discs, and the seconds that the whole command takes."""
    for size in SIZES:
        path = folder / f"ledger-{size}.sqlite"
        start = time.perf_counter()
        take_anew(path, map(json.dumps, lines(size)), "bench")
        yield "ledger import, simulator included", size, time.perf_counter() - start
        for words in (
            "rates --by lot",
            "rates --by drive",
            "rates --by side",
            "rates --by track",
            "rates --by batch",
            "rates --by inner",
            "disc list --lot L-03 --verdict fail",
            "disc list --title SM-004 --wrote D1",
            "today",
            "advise",
            "need --good 60",
        ):
            command = [*OBVERSE, *words.split(), "--json", "--ledger", path]
            times = []
            for _ in range(3):
                start = time.perf_counter()
                subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
                times.append(time.perf_counter() - start)
            yield words, size, statistics.median(times)
