"""Editions of a job: what each leaves out and replaces, what keeps their discs apart, and all their problems at once."""

import json
import tomllib
from pathlib import Path

import pytest
from bench import MARKER
from hypothesis import given
from hypothesis import strategies as st

from formats.volumes.shared.problems import Problems
from mastering.cli.main import run
from mastering.errors import ProblemsError
from mastering.job.editions import PLAIN, variants
from mastering.ledger.store import Ledger
from mastering.master.all_editions import build_all
from mastering.master.master import open_master

GOOD = """
[title]
name = "Lamplighter"
publisher = "Saltmarsh Software"
catalogue = "SM-004"
revision = "1.2"

[side.A]
geometry = "gcr4to5-35z"
volume = "zoned-dos"
serial = { marker = "<<SERIAL-GOES-HERE>>" }

[[side.A.file]]
name = "LEVELS"
source = "levels.bin"
type = "user"

[[side.A.file]]
name = "LAMPLIGHTER"
source = "program.bin"
type = "program"
load_address = 0x2000

[[side.A.file]]
name_bytes = "4C 41"
source = "levels.bin"
type = "user"

[side.B]
geometry = "mfm-40x9x512"
volume = "fat12"

[[side.B.file]]
name = "LEVELS"
source = "levels.bin"
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "program.bin").write_bytes(b"\x60" * 50 + MARKER)
    (tmp_path / "demo.bin").write_bytes(b"\x61" * 70 + MARKER)
    (tmp_path / "levels.bin").write_bytes(bytes(range(200)))
    return tmp_path


def job(shop: Path, *editions: str) -> Path:
    path = shop / "job.toml"
    path.write_text("\n".join([GOOD, *editions]))
    return path


def problems(shop: Path, *editions: str) -> list[str]:
    path = job(shop, *editions)
    with pytest.raises(ProblemsError) as raised:
        build_all(path)
    assert all(line.startswith(f"{path}: ") for line in str(raised.value).splitlines())
    return list(map(str, raised.value.problems))


def names(built, side: str) -> list[bytes]:
    return [file.name for file in built.sides[side].files]


# What an edition is


def test_a_job_without_editions_is_itself(shop):
    assert list(build_all(job(shop))) == [PLAIN]


def test_a_file_is_left_out_on_every_side_or_on_one(shop):
    made = build_all(
        job(
            shop,
            '[edition.small]\nleave_out = ["LEVELS"]',
            '[edition.half]\nleave_out = [{side = "B", name = "LEVELS"}, {name_bytes = "4c41"}]',
        )
    )
    assert {name: (names(built, "A"), names(built, "B")) for name, built in made.items()} == {
        PLAIN: ([b"LEVELS", b"LAMPLIGHTER", b"LA"], [b"LEVELS"]),
        "small": ([b"LAMPLIGHTER", b"LA"], []),
        "half": ([b"LEVELS", b"LAMPLIGHTER"], []),
    }


def test_a_file_has_another_source_and_keeps_its_place_and_the_rest(shop):
    made = build_all(job(shop, '[[edition.demo.replace]]\nname = "LAMPLIGHTER"\nsource = "demo.bin"'))["demo"]
    file = made.sides["A"].files[1]
    assert (file.name, file.type, file.load_address) == (b"LAMPLIGHTER", "program", 0x2000)
    assert file.data == b"\x00\x20" + (shop / "demo.bin").read_bytes()
    assert made.sides["A"].slot is not None
    moved = build_all(job(shop, '[[edition.demo.replace]]\nname = "LAMPLIGHTER"\nsource = "demo.bin"\nload_address = 0x3000'))["demo"]
    assert moved.sides["A"].files[1].load_address == 0x3000


def test_a_sides_keys_files_and_places_may_be_other(shop):
    made = build_all(
        job(
            shop,
            '[edition.demo.side.A]\nlabel = "A TASTE"\ndisc_id = "SD"',
            '[[edition.demo.side.A.file]]\nname = "ORDER FORM"\nsource = "levels.bin"\ntype = "sequential"',
            '[[edition.demo.side.B.place]]\ntrack = 39\nsector = 9\nsource = "levels.bin"',
        )
    )
    side = made["demo"].sides["A"]
    assert names(made["demo"], "A") == [b"LEVELS", b"LAMPLIGHTER", b"LA", b"ORDER FORM"]
    assert side.identity == {"id1": ord("S"), "id2": ord("D")}
    assert side.plan.content.label == b"A TASTE"
    assert made["demo"].sides["B"].dump[-512:][:200] == bytes(range(200))
    assert made[PLAIN].sides["A"].plan.content.label == b""


def test_a_ready_image_may_be_another_one(shop):
    for name in "xy":
        (shop / f"{name}.bin").write_bytes(name.encode() * 184_320)
    text = GOOD[: GOOD.index("[side.B]")] + '[side.B]\ngeometry = "mfm-40x9x512"\nvolume = "none"\nimage = "x.bin"\n'
    (shop / "job.toml").write_text(text + '[edition.demo.side.B]\nimage = "y.bin"\n')
    made = build_all(shop / "job.toml")
    assert {name: built.sides["B"].dump[:1] for name, built in made.items()} == {PLAIN: b"x", "demo": b"y"}


def test_the_job_itself_is_not_touched_by_its_editions(shop):
    alone = build_all(job(shop))[PLAIN]
    beside = build_all(job(shop, '[edition.demo]\nleave_out = ["LEVELS"]\n[edition.demo.side.A]\nlabel = "X"'))[PLAIN]
    assert [side.dump for side in beside.sides.values()] == [side.dump for side in alone.sides.values()]


# What keeps their discs apart


def test_an_editions_revision_is_the_jobs_with_its_name_unless_it_says_another(shop):
    made = build_all(
        job(shop, "[edition.demo]", '[edition.school]\nname = "Lamplighter at School"\ncatalogue = "SM-005"\nrevision = "1.0"')
    )
    told = {name: (built.job.title.name, built.job.title.catalogue, built.job.title.revision) for name, built in made.items()}
    assert told == {
        PLAIN: ("Lamplighter", "SM-004", "1.2"),
        "demo": ("Lamplighter", "SM-004", "1.2-demo"),
        "school": ("Lamplighter at School", "SM-005", "1.0"),
    }


@pytest.mark.parametrize(
    ("edition", "said"),
    [
        ('[edition.a]\nname = "Other"\nrevision = "1.2"', "edition.a: catalogue and revision are those of the job itself"),
        ('[edition.a]\ncatalogue = "SM-005"\nrevision = "1.2"', "edition.a: name and revision are those of the job itself"),
        (
            '[edition.a]\nrevision = "2"\n[edition.b]\nrevision = "2"\nname = "B"',
            "edition.b: catalogue and revision are those of edition.a",
        ),
    ],
)
def test_two_masters_that_no_ledger_or_nobody_could_tell_apart_are_refused(shop, edition, said):
    assert problems(shop, edition) == [f"{said}, so their discs could not be told apart; change one of them"]


def test_two_editions_of_a_title_stand_in_one_ledger_and_share_no_serial(shop, tmp_path, capsys):
    path, ledger = job(shop, '[edition.demo]\nleave_out = ["LEVELS"]'), str(tmp_path / "ledger.sqlite")
    out = tmp_path / "masters"

    def obverse(*words: object) -> list[dict]:
        status = run([*map(str, words)])
        printed = capsys.readouterr()
        assert status == 0, printed.err
        return [json.loads(line) for line in printed.out.splitlines() if line.startswith("{")]

    assert [line["edition"] for line in obverse("build", path, "--all", "--out", out, "--json")] == [None, "demo"]
    Ledger.open(Path(ledger), create=True).__exit__()
    obverse("lot", "add", "L-07", "--ledger", ledger)
    obverse("drive", "add", "D1", "--tpi", 48, "--heads", 1, "--ledger", ledger)
    serials = []
    for name in (PLAIN, "demo"):
        options = ("--good", 2, "--lot", "L-07", "--drive", "D1", "--ledger", ledger, "--json")
        [batch] = obverse("batch", "open", out / name, *options)
        serials.append([line["serial"] for line in obverse("batch", "serials", batch["batch"], "--count", 2, "--ledger", ledger, "--json")])
    assert [[serial[7:11] for serial in of_batch] for of_batch in serials] == [["0001", "0002"], ["0003", "0004"]]

    dump = tmp_path / f"{serials[0][0]}-A.dump"
    dump.write_bytes(open_master(out / "demo").sides["A"].stamped(serials[0][0]))
    status = run(["batch", "record", "B-0001", str(dump), "--ledger", ledger, "--masters", str(out), "--json"])
    line = json.loads(capsys.readouterr().out.splitlines()[0])
    assert (status, line["diagnosis"], line["matches"]) == (1, "other-master", ["Lamplighter 1.2-demo A"])


# What is wrong with them


@pytest.mark.parametrize(
    ("edition", "said"),
    [
        ("edition = 4", "edition: must hold tables, [edition.NAME]"),
        ("[edition]\ndemo = 4", "edition.demo: must be a table, [edition.demo]"),
        ("[edition.Demo]", "edition.Demo: a name has up to 32 of a-z, 0-9, - and _, begins with a letter or digit, and is not plain"),
        ("[edition.plain]", "edition.plain: a name has up to 32 of a-z, 0-9, - and _, begins with a letter or digit, and is not plain"),
        ("[edition.demo]\nleave_uot = []", "edition.demo.leave_uot: unknown key; did you mean `leave_out`?"),
        ('[edition.demo]\nleave_out = "LEVELS"', "edition.demo.leave_out: must be a list, not 'LEVELS'"),
        ('[edition.demo]\nleave_out = ["LEVLES"]', "edition.demo.leave_out[0]: there is no 'LEVLES'; did you mean LEVELS? there are LEVELS, LAMPLIGHTER, name_bytes 4C41"),
        ("[edition.demo]\nleave_out = [4]", 'edition.demo.leave_out[0]: must be a file\'s name, or a table such as {side = "A", name = "LEVELS"}'),
        ('[edition.demo]\nleave_out = [{side = "B"}]', "edition.demo.leave_out[0]: names a file with either `name` or `name_bytes`"),
        ('[edition.demo]\nleave_out = [{side = "C", name = "LEVELS"}]', "edition.demo.leave_out[0].side: must be 'A' or 'B', not 'C'"),
        ('[edition.demo]\nreplace = ["LEVELS"]', "edition.demo.replace: must be an array of tables, [[edition.demo.replace]]"),
        ('[[edition.demo.replace]]\nname = "LAMPLIGHTER"', "edition.demo.replace[0].source: is missing"),
        ('[[edition.demo.replace]]\nname = "LEVELS"\nsource = "demo.bin"', "edition.demo.replace[0].side: is missing: sides A and B both have such a file"),
        ('[[edition.demo.replace]]\nside = "B"\nname = "LAMPLIGHTER"\nsource = "demo.bin"', "edition.demo.replace[0]: there is no 'LAMPLIGHTER'; there are LEVELS on side B"),
        ('[[edition.demo.replace]]\nname = "LAMPLIGHTER"\nsource = "none.bin"', "edition.demo.replace[0].source: there is no file none.bin beside the job"),
        ('[edition.demo]\ncatalogue = "sm"', "edition.demo.catalogue: must be up to 32 of A-Z, 0-9 and hyphens, with no hyphen at the end, not 'sm'"),
        ('[edition.demo.side.C]\nlabel = "X"', "edition.demo.side.C: the job has no side C"),
        ("[edition.demo.side]\nA = 4", "edition.demo.side.A: must be a table, [edition.demo.side.A]"),
        ('[edition.demo.side.A]\nlable = "X"', "edition.demo.side.A.lable: unknown key; did you mean `label`?"),
        ('[edition.demo.side.A]\ninterleave = 400', "edition.demo.side.A.interleave: must be at most 255, not 400"),
        ('[[edition.demo.side.A.file]]\nname = "X"\nsource = "levels.bin"', "edition.demo.side.A.file[0].type: no type is given; zoned-dos has sequential, program, user"),
        ('[[edition.demo.side.A.place]]\ntrack = 36\nsector = 0\nsource = "levels.bin"', "edition.demo.side.A.place[0]: gcr4to5-35z has no track 36 head 0 sector 0"),
        ('[edition.demo]\nleave_out = ["LAMPLIGHTER"]', "edition.demo: side.A.serial.marker: '<<SERIAL-GOES-HERE>>' is not on side A; it must occur there once"),
    ],
)  # fmt: skip
def test_one_thing_wrong(shop, edition, said):
    text = f"{edition}\n{GOOD}" if edition.startswith("edition =") else f"{GOOD}\n{edition}\n"
    (shop / "job.toml").write_text(text)
    with pytest.raises(ProblemsError) as raised:
        build_all(shop / "job.toml")
    assert list(map(str, raised.value.problems)) == [said]


def test_a_file_behind_one_that_is_left_out_is_called_by_its_place_in_the_job(shop):
    (shop / "job.toml").write_text(GOOD.replace("0x2000", "0x20000") + '[edition.demo]\nleave_out = ["LEVELS"]\n')
    with pytest.raises(ProblemsError) as raised:
        build_all(shop / "job.toml")
    assert list(map(str, raised.value.problems)) == ["side.A.file[1].load_address: must be at most 65535 or 'in-file', not 131072"]


def test_everything_wrong_with_all_of_them_is_told_at_once(shop):
    (shop / "large.bin").write_bytes(bytes(180_000))
    (shop / "job.toml").write_text(
        GOOD.replace('source = "program.bin"', 'source = "none.bin"')
        + '[edition.demo]\nleave_out = ["X"]\n[[edition.demo.replace]]\nside = "B"\nname = "LEVELS"\nsource = "gone.bin"\n'
        + '[[edition.large.replace]]\nside = "A"\nname = "LEVELS"\nsource = "large.bin"\n[edition.large]\nrevision = "1.2"\n'
    )
    with pytest.raises(ProblemsError) as raised:
        build_all(shop / "job.toml")
    assert [problem.where for problem in raised.value.problems] == [
        "side.A.file[1].source",
        "edition.demo.replace[0].source",
        "edition.large",
        "edition.demo.leave_out[0]",
        "edition.large",
        "edition.large",
    ]
    assert "edition.large: side.A: the disc is too full" in str(raised.value)


def test_all_that_is_wrong_with_a_replacement_is_told_at_once(shop):
    told = problems(shop, '[[edition.demo.replace]]\nname = "LAMPLIGHTER"\nsource = "missing.bin"\ntype = "prog"\nload_address = 99999\n')
    where = "edition.demo.replace[0]."
    assert sorted(each.partition(": ")[0] for each in told) == [where + key for key in ("load_address", "source", "type")]


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-1, 9) | st.sampled_from(["A", "LEVELS", "levels.bin", "program", "4C 41", ""]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["A", "B", "name", "source", "side", "file", "place", "replace", "leave_out", "name_bytes"]), inner, max_size=4)
    ),
    max_leaves=12,
)  # fmt: skip


@given(edition=JSON, side=JSON)
def test_whatever_stands_in_an_edition_it_is_a_change_or_a_problem(edition, side):
    """Never an error of the program, and never a change of what was given."""
    raw = tomllib.loads(GOOD) | ({"side": side} if side is not None else {}) | {"edition": {"demo": edition}}
    before = json.dumps(raw)
    found = Problems()
    made = list(variants(raw, found))
    assert json.dumps(raw) == before
    assert made or found
    assert all(problem.where.startswith("edition") for problem in found)


# One command builds all


def test_one_command_builds_all_or_one_of_them(shop, tmp_path, capsys):
    path = job(shop, '[edition.demo]\nleave_out = ["LEVELS"]')
    assert run(["build", str(path), "--all", "--out", str(tmp_path / "all")]) == 0
    assert sorted(each.name for each in (tmp_path / "all").iterdir()) == ["demo", PLAIN]
    assert run(["build", str(path), "--edition", "demo", "--out", str(tmp_path / "one")]) == 0
    assert run(["build", str(path), "--out", str(tmp_path / "plain")]) == 0
    for name, alone in (("demo", "one"), (PLAIN, "plain")):
        assert open_master(tmp_path / "all" / name).digest == open_master(tmp_path / alone).digest
    capsys.readouterr()
    assert run(["build", str(path), "--dry-run", "--all", "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [(line["edition"], line["master"]) for line in lines] == [(None, None), ("demo", None)]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--edition", "dmo"], "--edition: there is no 'dmo'; did you mean demo?"),
        (["--edition", "demo", "--all"], "give either --edition NAME or --all"),
    ],
)
def test_an_edition_that_can_not_be_built(shop, capsys, options, said):
    assert run(["build", str(job(shop, "[edition.demo]")), "--dry-run", *options]) == 2
    assert said in capsys.readouterr().err


def test_a_job_without_editions_has_none_to_build(shop, capsys):
    assert run(["build", str(job(shop)), "--dry-run", "--edition", "demo"]) == 2
    assert "--edition: the job has no editions" in capsys.readouterr().err


def test_all_are_written_or_none(shop, tmp_path, capsys):
    path = job(shop, "[edition.demo]", '[edition.bad]\nleave_out = ["X"]')
    for options in (["--all"], ["--edition", "demo"], []):
        assert run(["build", str(path), *options, "--out", str(tmp_path / "all")]) == 2
        assert "edition.bad.leave_out[0]: there is no 'X'" in capsys.readouterr().err
        assert not (tmp_path / "all").exists()
