"""The files that people write: whatever bytes stand in one, it is read or refused with one line, and nothing is computed with it first."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from table import said as say

from mastering.errors import MasteringError
from mastering.shop import NAME
from mastering.toml import read_toml

DIGITS = "7" * 5000
HOSTILE = [
    (f"x = {DIGITS}", "not TOML"),
    (f"x = 0x{DIGITS}", "x: a whole number has at most 64 bits, this one has 19,999"),
    (f"[side.A]\ninterleave = 0b{'1' * 65}", "side.A.interleave: a whole number has at most 64 bits, this one has 65"),
    (f"[[side.A.file]]\nx = [1, 0o{DIGITS}]", "side.A.file[0].x[1]: a whole number has at most 64 bits"),
    ("x = " + "[" * 3000, "not TOML"),
    (f"x = {'[' * 40}{']' * 40}", "nested more than 32 deep"),
    (f"{'a.' * 3000}a = 1", "nested more than 32 deep"),
    (f"[{'a.' * 3000}a]", "nested more than 32 deep"),
    ("x = 1\nx = 2", "not TOML: Cannot overwrite a value"),
]


@pytest.mark.parametrize(("text", "said"), HOSTILE)
def test_numbers_and_nests_that_no_file_has_are_refused(tmp_path, text, said):
    (tmp_path / "job.toml").write_text(text)
    with pytest.raises(MasteringError) as error:
        read_toml(tmp_path / "job.toml", "a job file")
    assert said in str(error.value) and len(str(error.value)) < 400 + len(str(tmp_path)) and "\n" not in str(error.value)


@pytest.mark.parametrize(("text", "said"), HOSTILE)
def test_a_shop_and_a_job_say_so_in_one_line(tmp_path, text, said):
    for name, words in ((NAME, ("lot", "list")), ("job.toml", ("build", "job.toml", "--dry-run"))):
        folder = tmp_path / name.partition(".")[0]
        folder.mkdir()
        (folder / name).write_text(text)
        answer = say(*words, folder=folder)
        [line] = answer.err
        assert answer.status == 2
        assert said in line and line.startswith(f"obverse: {folder / name if name == NAME else name}: ")


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=80) | st.text("[]{}=.\"'#ab01x\n ", max_size=60).map(str.encode))
def test_whatever_bytes_stand_there(tmp_path, data):
    (tmp_path / "x.toml").write_bytes(data)
    try:
        assert isinstance(read_toml(tmp_path / "x.toml", "a shop's file"), dict)
    except MasteringError as error:
        assert str(error).startswith(f"{tmp_path / 'x.toml'}: ")


def test_what_is_no_file_is_not_read(tmp_path):
    with pytest.raises(MasteringError, match="not a file; a job file was expected"):
        read_toml(tmp_path, "a job file")
