"""Files recorded by the program, one command after the other, against the models of sections 6 and 8."""

import json
import random

import pytest
from agreement import good_tracks
from model_capture import capture_file
from model_geometry import GEOMETRIES
from model_judge import ModelMaster, ModelSide, ModelSlot
from model_ledger import disc_line, rejected
from model_ledger_rates import rates
from model_ledger_rows import replay, serial_of
from model_verdict import judge
from test_ledger_agrees import asked, compare, compare_rates, obverse, said

MARKER = "<<SERIAL-GOES-HERE>>"
GEOMETRY = "mfm-40x9x512"
SIZE = GEOMETRIES[GEOMETRY].size
SLOT = 101 * SIZE + 17
BENCH = ["--lot", "L-07", "--lot", "L-09", "--drive", "D1", "--drive", "D2", "--unserialled", "A"]
HEADER = "track,head,sector,state,tries\n"


@pytest.fixture(scope="module")
def master(tmp_path_factory):
    """(folder, model): a master with two sides and a slot on A."""
    folder, rng = tmp_path_factory.mktemp("record"), random.Random("record")
    dumps = {side: bytearray(rng.randbytes(GEOMETRIES[GEOMETRY].bytes())) for side in "AB"}
    dumps["A"][SLOT : SLOT + len(MARKER)] = MARKER.encode()
    toml = '[title]\nname = "Lamplighter"\npublisher = "Saltmarsh Software"\ncatalogue = "SM-004"\nrevision = "1.2"\n'
    for side, dump in dumps.items():
        (folder / f"{side}.bin").write_bytes(dump)
        toml += (
            f'[side.{side}]\nplatform = "machine"\ngeometry = "{GEOMETRY}"\nvolume = "none"\nimage = "{side}.bin"\norder = "as-numbered"\n'
        )
        toml += f'serial = {{ marker = "{MARKER}" }}\n' if side == "A" else ""
    (folder / "job.toml").write_text(toml)
    status, _, err = obverse("build", folder / "job.toml", "--out", folder / "master")
    assert status == 0, err
    sides = {side: ModelSide(GEOMETRY, bytes(dump), {}) for side, dump in dumps.items()}
    return folder / "master", ModelMaster("Lamplighter 1.2", "SM-004", sides, ModelSlot("A", SLOT, len(MARKER)))


@pytest.fixture
def bench(tmp_path, master):
    """(ledger, batch, serials): a batch of six discs, two lots, two drives."""
    status, _, err = obverse("shop", "new", tmp_path / "shop")
    assert status == 0, err
    ledger = tmp_path / "shop" / "ledger.sqlite"
    for arguments in (
        ["lot", "add", "L-07"],
        ["lot", "add", "L-09"],
        *(["drive", "add", d, "--tpi", "48", "--heads", "1"] for d in ("D1", "D2")),
    ):
        status, _, err = obverse(*arguments, "--ledger", ledger)
        assert status == 0, err
    [opened] = asked(ledger, "batch", "open", master[0], "--good", "4", *BENCH, "--json")
    assert opened["batch"] == "B-0001"
    serials = [line["serial"] for line in asked(ledger, "batch", "serials", "B-0001", "--count", "6", "--json")]
    assert serials == [serial_of("SM-004", n) for n in range(1, 7)]
    return ledger, "B-0001", serials


def recorded(ledger, *arguments):
    """(status, lines) of `batch record`."""
    status, out, _ = obverse("batch", "record", *arguments, "--json", "--ledger", ledger)
    return status, [json.loads(line) for line in out]


def read_back(model, serial, side, rng):
    """(bytes, report or None) of a disc's side on a good or a bad day."""
    dump = bytearray(model.sides[side].dump)
    if side == "A" and rng.random() < 0.7:
        dump[SLOT : SLOT + len(MARKER)] = serial.ljust(len(MARKER)).encode()
    place = rng.randrange(360)
    day = rng.choice(["good"] * 4 + ["differs", "filled", "soft", "unread", "short", "other side", "blank"])
    listed = "".join(f"{t},{h},{s},{{}},1\n" for _, h, t, s in GEOMETRIES[GEOMETRY].places()).format(
        *("good" if k != place or day not in ("soft", "unread") else day for k in range(360))
    )
    if day == "differs":
        dump[place * SIZE : place * SIZE + 3] = b"\x00\xff\x00"
    if day == "filled":
        dump[place * SIZE : (place + 1) * SIZE] = b"\xe5" * SIZE
    if day == "short":
        del dump[place * SIZE + SIZE :]
    if day == "other side":
        dump = bytearray(model.sides["B" if side == "A" else "A"].dump)
    if day == "blank":
        dump = bytearray(b"\xe5" * len(dump))
    return bytes(dump), HEADER + listed if day in ("soft", "unread") else None


@pytest.mark.parametrize("seed", [1])
def test_an_evening_of_records(tmp_path, master, bench, seed):
    (_, model), (ledger, batch, serials), rng = master, bench, random.Random(seed)
    discs, said_of_discs, lots, wrote = serials[:3], [], {}, {}
    for number in range(16):
        serial, side = rng.choice(discs), rng.choice("AB")
        data, report = read_back(model, serial, side, rng)
        file = tmp_path / f"{serial}-{side}-{number}.dump"
        file.write_bytes(data)
        if report:
            file.with_suffix(".report.csv").write_text(report)
        led = replay(asked(ledger, "ledger", "export"))
        again = (serial, side) in wrote and rng.random() < 0.3 and not rejected(led, led.discs[serial])
        lot = lots.setdefault(serial, rng.choice(("L-07", "L-09")))
        drive = wrote[serial, side] = rng.choice(("D1", "D2")) if again or (serial, side) not in wrote else wrote[serial, side]
        reader = rng.choice(("D1", "D2"))
        arguments = ["--lot", lot, "--wrote", drive, "--read", reader, *(["--rewritten"] if again else [])]
        status, (line, disc) = recorded(ledger, batch, file, *arguments)
        want = judge(model, data, report, side=side)
        want |= {"on_disc": want["serial"], "serial": serial, "batch": batch, "lot": lot, "wrote": drive, "read_by": reader}
        assert said(line, want) == want, number
        said_of_discs.append(disc)
        assert status == (1 if {line["verdict"], disc["verdict"]} & {"fail", "marginal"} else 0)
    rows = asked(ledger, "ledger", "export")
    reads = [k for k, row in enumerate(rows) if row["kind"] == "read"]
    assert len(reads) == 16
    for k, told in zip(reads, said_of_discs, strict=True):
        led = replay(rows[: k + 1])
        compare([told], [disc_line(led, led.discs[rows[k]["serial"]])])
    assert {row["writing"] for row in rows if row["kind"] == "writing"} >= {1, 2}
    for by in ("lot", "drive", "side", "track"):
        compare_rates(asked(ledger, "rates", "--by", by, "--json"), rates(replay(rows), by))


def test_a_folder_of_a_whole_batch_and_what_does_not_belong_in_it(tmp_path, master, bench):
    (_, model), (ledger, batch, serials) = master, bench
    folder = tmp_path / "copies"
    folder.mkdir()
    for serial in serials[:2]:
        for side in "AB":
            (folder / f"{serial}-{side}.dump").write_bytes(model.sides[side].dump)
    (folder / "holiday.dump").write_bytes(model.sides["A"].dump)
    (folder / f"{serials[0][:-1]}?-A.dump").write_bytes(model.sides["A"].dump)
    status, lines = recorded(ledger, batch, folder, "--lot", "L-07", "--wrote", "D1")
    assert status == 2
    assert sum("error" in line for line in lines) == 2
    assert [line["verdict"] for line in lines if "readback" in line and "error" not in line] == ["pass"] * 4
    rows = asked(ledger, "ledger", "export")
    led = replay(rows)
    assert lines[-2:] == [disc_line(led, disc) for disc in led.discs.values()][:2]
    kinds = [row["kind"] for row in rows if row["kind"] in ("writing", "read")]
    assert kinds == ["writing"] * 4 + ["read"] * 4, "a command enters the rows of all its writings before those of its reads"
    assert {row["verdict"] for row in lines[-2:]} == {"pass"}


def test_what_was_recorded_already_changes_nothing(tmp_path, master, bench):
    (_, model), (ledger, batch, serials) = master, bench
    file = tmp_path / f"{serials[0]}-A.dump"
    file.write_bytes(model.sides["A"].dump)
    arguments = (batch, file, "--lot", "L-07", "--wrote", "D1", "--read", "D1")
    _, first = recorded(ledger, *arguments)
    rows = asked(ledger, "ledger", "export")
    status, second = recorded(ledger, *arguments)
    assert (status, second[0]["again"], second[-1]) == (0, True, first[-1])
    assert asked(ledger, "ledger", "export") == rows
    other = tmp_path / f"{serials[0]}-A-2.dump"  # a dump of the same bytes under another name is another read
    other.write_bytes(file.read_bytes())
    recorded(ledger, batch, other, *arguments[2:])
    assert sum(row["kind"] == "read" for row in asked(ledger, "ledger", "export")) == 2


def test_what_is_refused_leaves_no_row(tmp_path, master, bench):
    (_, model), (ledger, batch, serials) = master, bench
    dump = bytearray(model.sides["A"].dump)
    dump[SLOT : SLOT + len(MARKER)] = serials[1].ljust(len(MARKER)).encode()
    (tmp_path / f"{serials[0]}-A.dump").write_bytes(dump)  # the other disc was in the drive
    (tmp_path / f"{serial_of('SM-004', 99)}-A.dump").write_bytes(model.sides["A"].dump)  # never handed out
    capture = capture_file(list(good_tracks(model.sides["B"], "another drive's").values()))
    (tmp_path / f"{serials[2]}-B.capture").write_bytes(capture)
    bench_words = ("--lot", "L-07", "--wrote", "D1")
    assert recorded(ledger, batch, tmp_path / f"{serials[2]}-B.capture", *bench_words)[0] == 0
    (tmp_path / f"{serials[3]}-B.capture").write_bytes(capture)  # the same file for another disc
    rows = asked(ledger, "ledger", "export")
    for name in (f"{serials[0]}-A.dump", f"{serial_of('SM-004', 99)}-A.dump", f"{serials[3]}-B.capture"):
        status, lines = recorded(ledger, batch, tmp_path / name, *bench_words)
        assert status == 2
        assert not any("verdict" in line and "readback" in line for line in lines), name
    (tmp_path / f"{serials[4]}-A.dump").write_bytes(model.sides["A"].dump)
    assert obverse("batch", "record", batch, tmp_path / f"{serials[4]}-A.dump", "--ledger", ledger)[0] == 2  # which lot, which drive?
    assert asked(ledger, "ledger", "export") == rows
