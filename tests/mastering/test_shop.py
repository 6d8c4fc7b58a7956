"""The shop: the nearest folder upwards with a `shop.toml`, its settings, and where its ledger lies."""

import pytest
from table import done, said

from mastering.errors import MasteringError
from mastering.ledger.store import Ledger
from mastering.shop import NAME, VARIABLE, find


@pytest.fixture(autouse=True)
def _no_variable(monkeypatch):
    monkeypatch.delenv(VARIABLE, raising=False)


def test_a_shop_is_the_nearest_folder_upwards_with_its_file(tmp_path):
    deep = tmp_path / "evenings" / "november"
    deep.mkdir(parents=True)
    (tmp_path / NAME).write_text('masters = "masters"\n')
    assert find(deep).folder == tmp_path
    assert find(deep).masters == tmp_path / "masters"
    (tmp_path / "evenings" / NAME).write_text("")
    assert find(deep).folder == tmp_path / "evenings"
    assert find(deep).masters is None


def test_without_that_file_the_current_folder_is_the_shop(tmp_path):
    assert find(tmp_path).folder == tmp_path
    assert find(tmp_path).ledger(None) == tmp_path / "ledger.sqlite"


def test_a_new_shop_is_found_from_any_folder_below_it(tmp_path):
    shop, inner = tmp_path / "shop", tmp_path / "shop" / "evenings" / "november"
    answer = done("shop", "new", shop)
    assert sorted(path.name for path in shop.iterdir()) == ["bench.toml", "ledger.sqlite", NAME]
    assert "obverse lot add" in answer.out[-1]
    inner.mkdir(parents=True)
    done("lot", "add", "L-01", folder=inner)
    assert [line["name"] for line in done("lot", "list", "--json", folder=shop).json] == ["L-01"]
    assert not (inner / "ledger.sqlite").exists()


def test_a_shop_is_begun_once_and_replaces_nothing(tmp_path):
    done("shop", "new", tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert said("shop", "new", tmp_path).status == 2
    (tmp_path / NAME).unlink()
    (tmp_path / "bench.toml").unlink()
    assert "ledger.sqlite: exists already" in said("shop", "new", tmp_path).err[0]
    assert (tmp_path / "ledger.sqlite").read_bytes() == before["ledger.sqlite"]
    assert said("shop", "new", tmp_path / "none" / "shop").status == 2


def test_a_new_shops_files_say_what_is_usual(tmp_path):
    from mastering.cli.options import batch_rules
    from mastering.recording.opening import Rules

    done("shop", "new", tmp_path, "--ledger", "kept/here.sqlite") if (tmp_path / "kept").mkdir() is None else None
    shop = find(tmp_path)
    assert shop.ledger(None) == tmp_path / "kept" / "here.sqlite"
    assert batch_rules(shop) == Rules()
    text = (tmp_path / NAME).read_text()
    uncommented = "\n".join(line.removeprefix("# ") for line in text.splitlines() if " = " in line)
    (tmp_path / NAME).write_text(uncommented.replace('masters = "masters"', "", 1))
    assert batch_rules(find(tmp_path)) == Rules()


def test_in_a_practice_shop_simulated_reads_count(tmp_path):
    from table import Table, two_sides

    done("shop", "new", tmp_path, "--practice")
    table = Table.__new__(Table)
    table.__dict__ |= {"folder": tmp_path, "ledger": tmp_path / "ledger.sqlite", "master": two_sides()}
    done("lot", "add", "L-07", folder=tmp_path)
    done("drive", "add", "S1", "--tpi", 48, "--heads", 1, "--simulated", folder=tmp_path)
    opening = ("batch", "open", two_sides().path, "--good", 1, "--lot", "L-07", "--drive", "S1", "--unserialled", "both", "--json")
    table.batch = done(*opening, folder=tmp_path).json[0]["batch"]
    [serial] = table.hand_out(1)
    assert table.read(serial, "A").discs[0]["sides"]["A"] == "pass"
    assert [row["practice"] for row in table.rows() if row["kind"] == "batch"] == [True]


@pytest.mark.parametrize(("text", "told"), [
    ('verify = "never"', "verify is 'never'"), ("rewrites = 99", "rewrites is 99"), ("accept = []", "accept is"), ('accept = ["hearsay"]', "accept is"),
    ("margin = 2.0", "margin is 2.0"), ('practice = "yes"', "practice is 'yes'"),
])  # fmt: skip
def test_a_setting_that_can_not_be_is_refused(tmp_path, text, told):
    (tmp_path / NAME).write_text(text + "\n")
    with pytest.raises(MasteringError, match=told):
        find(tmp_path)


def test_the_ledger_is_the_one_said_else_the_environments_else_the_shops(tmp_path, monkeypatch):
    inner = tmp_path / "november"
    inner.mkdir()
    (tmp_path / NAME).write_text("")
    for path in (tmp_path / "ledger.sqlite", tmp_path / "other.sqlite", inner / "third.sqlite"):
        Ledger.open(path, create=True).__exit__()
    done("lot", "add", "L-01", folder=inner)
    monkeypatch.setenv(VARIABLE, str(tmp_path / "other.sqlite"))
    done("lot", "add", "L-02", folder=inner)
    assert "L-02" in done("lot", "list", "--ledger", "../other.sqlite", folder=inner).out[1]
    done("lot", "add", "L-03", "--ledger", "third.sqlite", folder=inner)
    assert [line["name"] for line in done("lot", "list", "--json", folder=inner).json] == ["L-02"]


def test_a_ledger_may_be_named_as_a_url(tmp_path):
    Ledger.open(tmp_path / "ledger.sqlite", create=True).__exit__()
    done("lot", "add", "L-01", "--ledger", f"sqlite:///{tmp_path}/ledger.sqlite", folder=tmp_path)
    assert done("lot", "list", "--json", folder=tmp_path).json[0]["name"] == "L-01"


@pytest.mark.parametrize("url", ["postgresql://host/ledger", "http://host/ledger", "sqlite://ledger.sqlite"])
def test_a_url_of_another_kind_is_refused(tmp_path, url):
    answer = said("lot", "add", "L-01", "--ledger", url, folder=tmp_path)
    assert answer.status == 2
    assert url in answer.err[0]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("masters = ", NAME),
        ("masters = 3\n", "masters is 3, where the name of a folder"),
        ('master = "masters"\n', "master: not a key of a shop; known: masters"),
        (b"masters = \xff\n", NAME),
    ],
)
def test_a_broken_shop_file_is_told_in_one_line(tmp_path, text, told):
    (tmp_path / NAME).write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(MasteringError, match=told) as found:
        find(tmp_path)
    assert "\n" not in str(found.value)
    answer = said("lot", "add", "L-01", folder=tmp_path)
    assert (answer.status, len(answer.err)) == (2, 1)
    assert not (tmp_path / "ledger.sqlite").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("lot", "add", "L-01"),
        ("drive", "add", "D1", "--tpi", "48", "--heads", "1"),
        ("today",),
        ("lot", "list"),
        ("batch", "list"),
        ("rates",),
        ("ledger", "export"),
        ("ledger", "check"),
        ("batch", "show", "B-0001"),
    ],
)
def test_no_other_command_begins_a_ledger(tmp_path, words):
    answer = said(*words, folder=tmp_path)
    assert (answer.status, answer.out, len(answer.err)) == (2, [], 1)
    assert f"no {NAME} in {tmp_path} or any folder above it" in answer.err[0]
    assert "obverse shop new" in answer.err[0]
    assert list(tmp_path.iterdir()) == []
