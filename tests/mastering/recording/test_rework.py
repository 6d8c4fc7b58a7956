"""Discs of another revision made into the new one: they keep their serials, and a side that is as it was is not written."""

from bench import MARKER, make_master, random_dump
from table import SIDES, SLOT, Table, two_sides

from formats import registry

FIRST, SECOND, THIRD, FOURTH = "SM-004-0001-X", "SM-004-0002-V", "SM-004-0003-T", "SM-004-0004-R"


def corrected():
    """Revision 1.3: side A is another one, side B as it was."""
    dumps = {side: random_dump(registry.geometry(geometry), 9 if side == "A" else 2) for side, geometry in SIDES.items()}
    dumps["A"] = dumps["A"][:SLOT] + MARKER + dumps["A"][SLOT + len(MARKER) :]
    return make_master({side: (SIDES[side], dump) for side, dump in dumps.items()}, revision="1.3", catalogue="SM-004", slot_side="A")


def test_a_corrected_master_is_made_of_the_discs_in_stock(tmp_path):
    table = Table(tmp_path, two_sides())
    for serial in (FIRST, SECOND):
        for side in "AB":
            table.read(serial, side)
    table.read(THIRD, "B", "fail")  # its unchanged side is bad
    box = table.file("rows.jsonl", b'{"kind":"disc","serial":"%s","what":"box","at":"2036-11-27T10:00:00Z"}' % SECOND.encode())
    table.done("ledger", "import", box)
    new = corrected()
    answer = table.done("batch", "open", new.path, "--good", 1, *table.bench, "--rework", "B-0001")
    assert f"took over from B-0001, which is closed: {FIRST}" in answer.out
    assert "to be written: side A" in answer.out
    assert f"not taken: {SECOND} is boxed" in answer.out
    table.batch, table.master = "B-0002", new
    line = table.disc("1")
    assert (line["sides"], line["action"], line["rejected"]) == ({"A": None, "B": "pass"}, "turn-over", False)
    [image] = table.done("batch", "image", "B-0002", "1", "--out", tmp_path / "images", "--json").json
    assert image["side"] == "A"
    answer = table.read(FIRST, "A", "pass", tag="new")
    assert [(row["side"], row["writing"]) for row in table.rows() if row["kind"] == "writing" and row["batch"] == "B-0002"] == [("A", 2)]
    assert answer.discs[0]["sides"] == {"A": "pass", "B": None}  # the other side was written since it was looked at
    assert table.read(FIRST, "B", "pass", tag="new").discs[0]["verdict"] == "pass"
    rates = {line["group"]: line["discs"] for line in table.done("rates", "--by", "batch", "--json").json}
    assert rates == {"B-0001": 2, "B-0002": 1}
    assert table.done("batch", "list", "--json").json[0]["state"] == "closed"
    assert table.sound()


def test_what_can_not_be_reworked(tmp_path):
    table = Table(tmp_path, two_sides())
    opening = ("batch", "open", two_sides().path, "--good", 1, *table.bench)
    assert "this very master" in table.refused(*opening, "--rework", "B-0001")
    assert "--continue is of the same master" in table.refused(*opening, "--rework", "B-0001", "--continue", "B-0001")
    assert "B-0009" in table.refused(*opening, "--rework", "B-0009")
