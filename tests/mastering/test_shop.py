"""The shop: the nearest folder upwards with a `shop.toml`, its settings, and where its ledger lies."""

import pytest
from table import done, said

from mastering.errors import MasteringError
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


def test_the_ledger_is_the_one_said_else_the_environments_else_the_shops(tmp_path, monkeypatch):
    inner = tmp_path / "november"
    inner.mkdir()
    (tmp_path / NAME).write_text("")
    done("lot", "add", "L-01", folder=inner)
    assert (tmp_path / "ledger.sqlite").is_file()
    monkeypatch.setenv(VARIABLE, str(tmp_path / "other.sqlite"))
    done("lot", "add", "L-02", folder=inner)
    assert "L-02" in done("lot", "list", "--ledger", "../other.sqlite", folder=inner).out[1]
    done("lot", "add", "L-03", "--ledger", "third.sqlite", folder=inner)
    assert (inner / "third.sqlite").is_file()
    assert [line["name"] for line in done("lot", "list", "--json", folder=inner).json] == ["L-02"]


def test_a_ledger_may_be_named_as_a_url(tmp_path):
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
    "words", [("lot", "list"), ("batch", "list"), ("rates",), ("ledger", "export"), ("ledger", "check"), ("batch", "show", "B-0001")]
)
def test_a_command_that_only_asks_never_makes_a_ledger(tmp_path, words):
    answer = said(*words, folder=tmp_path)
    assert (answer.status, answer.out, len(answer.err)) == (2, [], 1)
    assert "no such ledger" in answer.err[0]
    assert list(tmp_path.iterdir()) == []
