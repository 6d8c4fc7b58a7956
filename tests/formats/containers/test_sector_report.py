"""The sector report: what a reader may say, and what is refused, by line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats import registry
from formats.containers import sector_report
from formats.errors import ContainerError
from formats.model.geometry import Address

HEADER = b"track,head,sector,state,tries\n"


def test_a_report_is_read():
    read = sector_report.read(HEADER + b"1,0,0,good,1\r\n1,0,1,soft,\n1,0,2,block-check,10\n", "x.report.csv")
    assert read.rows == {Address(1, 0, 0): ("good", 1), Address(1, 0, 1): ("soft", None), Address(1, 0, 2): ("block-check", 10)}


def test_a_byte_order_mark_is_passed_over():
    assert sector_report.read(b"\xef\xbb\xbf" + HEADER + b"1,0,0,good,1\n", "x").rows


def test_the_states_are_those_of_the_judgement_but_differs():
    from mastering.judging.verdict import KINDS

    assert sector_report.STATES == (set(KINDS) - {"", "differs"}) | {"good"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "x: line 1: the header track,head,sector,state,tries was expected"),
        (b"track,head,sector,state\n", "line 1: the header track,head,sector,state,tries was expected"),
        (HEADER + b"1,0,0,bad,1\n", "line 2: the state 'bad' is none of "),
        (HEADER + b"1,0,0,differs,1\n", "line 2: the state 'differs' is none of "),
        (HEADER + b"1,0,0," + b"bad" * 1000 + b",1\n", "line 2: the state 'badbad"),
        (HEADER + b"1" * 1000 + b",0,0,good,1\n", "line 2: track must be a whole number, not '1111"),
        (HEADER + b"1,0,0,good\n", "line 2: 4 columns, 5 were expected"),
        (HEADER + b"1,0,0,good,1,2\n", "line 2: 6 columns, 5 were expected"),
        (HEADER + b"a,0,0,good,1\n", "line 2: track must be a whole number, not 'a'"),
        (HEADER + b"1,-1,0,good,1\n", "line 2: head must be a whole number, not '-1'"),
        (HEADER + b"1,0,0,good,few\n", "line 2: tries must be a whole number, not 'few'"),
        (HEADER + b"1,0,0,good,1\n\n1,0,0,soft,2\n", "line 4: track 1 head 0 sector 0 stands in line 2 already"),
        (HEADER + b'1,0,0,"good,1\n', "x: line "),
        (HEADER + b"1,0,0,\xff,1\n", "x: byte 36: not UTF-8"),
        (HEADER + b"\n" * (1 << 20), "1,048,606 bytes, a sector report has at most 1,048,576"),
    ],
)
def test_every_breach_has_its_line(text, said):
    with pytest.raises(ContainerError) as raised:
        sector_report.read(text, "x")
    assert said in str(raised.value)
    assert len(str(raised.value)) < 220


def test_sectors_that_a_geometry_lacks():
    read = sector_report.read(HEADER + b"0,0,9,good,1\n0,0,10,good,1\n", "x")
    with pytest.raises(ContainerError, match="x: line 3: mfm-40x9x512 has no track 0 head 0 sector 10"):
        read.check_against(registry.geometry("mfm-40x9x512"))


@given(
    rows=st.dictionaries(
        st.tuples(st.integers(0, 99), st.integers(0, 1), st.integers(0, 30)).map(lambda at: Address(*at)),
        st.tuples(st.sampled_from(sorted(sector_report.STATES)), st.none() | st.integers(0, 999)),
        max_size=20,
    )
)
def test_what_is_written_is_read(rows):
    text = sector_report.write((address, state, tries) for address, (state, tries) in rows.items())
    assert sector_report.read(text, "x").rows == rows


@given(text=st.binary(max_size=100))
def test_any_text_is_read_or_refused(text):
    for each in (text, HEADER + text):
        try:
            sector_report.read(each, "x")
        except ContainerError:
            pass
