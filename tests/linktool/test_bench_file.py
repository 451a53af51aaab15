"""Several boards named by ports or by a file: what is taken, and what is refused with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.bench_file import Place, parse, places
from linktool.errors import UsageError

FILE = """
[[board]]
port = "/dev/ttyUSB0"
machine = "mine"
label = "J. Heron 1"

[[board]]
port = "socket://127.0.0.1:4000"
"""


def test_boards_come_in_the_order_of_the_file(tmp_path: Path):
    (tmp_path / "bench.toml").write_text(FILE)
    assert places((), str(tmp_path / "bench.toml")) == (
        Place("J. Heron 1", "/dev/ttyUSB0", "mine"),
        Place("socket://127.0.0.1:4000", "socket://127.0.0.1:4000"),
    )


def test_ports_are_their_own_labels_and_simulated_ones_may_come_again():
    found = places(("board:", "/dev/ttyUSB0", "board:", "board:"), None)
    assert [place.label for place in found] == ["board:", "/dev/ttyUSB0", "board: (2)", "board: (3)"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('label = "J. Heron 1"', 'label = ""'), "label is ''; allowed: 1 to 32 printable characters"),
        (('label = "J. Heron 1"', 'label = "a\\u001B[2Jb"'), "printable characters"),
        (('label = "J. Heron 1"', 'label = "' + "x" * 33 + '"'), "1 to 32"),
        (('label = "J. Heron 1"', 'name = "J"'), "name is not known; allowed: port, label, machine"),
        (('port = "/dev/ttyUSB0"', "port = 3"), "[board 1] port is 3; allowed: text in quotes"),
        (('port = "/dev/ttyUSB0"', 'port = "nonsense://x"'), "[board 1] port: the port name 'nonsense://x'"),
        (('port = "/dev/ttyUSB0"\n', ""), "[board 1] port is missing"),
        (('"socket://127.0.0.1:4000"', '"/dev/ttyUSB0"'), "the port '/dev/ttyUSB0' is named twice"),
        (('"J. Heron 1"', '"socket://127.0.0.1:4000"'), "the label 'socket://127.0.0.1:4000' is named twice"),
        (("[[board]]", "[[boards]]"), "boards is not known; allowed: board"),
        ((FILE, ""), "names no board"),
        (("[[board]]", "[[board"), "is not TOML"),
        (("[[board]]", "x = " + "[" * 9999), "brackets within brackets"),
        (("[[board]]", "x = " + "9" * 9999), "is not TOML"),
    ],
)
def test_what_will_not_do_is_refused_with_its_place(tmp_path: Path, change, said):
    path = tmp_path / "bench.toml"
    path.write_text(FILE.replace(*change))
    with pytest.raises(UsageError) as refused:
        places((), str(path))
    assert said in str(refused.value)


def test_a_file_that_is_not_there_or_no_file(tmp_path: Path):
    with pytest.raises(UsageError, match="is not there"):
        places((), str(tmp_path / "absent.toml"))
    with pytest.raises(UsageError, match="is not an ordinary file"):
        places((), str(tmp_path))
    (tmp_path / "large.toml").write_bytes(b"#" * ((1 << 20) + 1))
    with pytest.raises(UsageError, match="has 1048577 bytes; allowed: at most 1048576"):
        places((), str(tmp_path / "large.toml"))


def test_two_ways_at_once_are_refused(tmp_path: Path):
    with pytest.raises(UsageError, match="both given"):
        places(("board:",), str(tmp_path / "bench.toml"))


@given(st.text(max_size=200), st.integers(0, len(FILE)), st.integers(0, 40))
def test_any_text_is_read_or_refused(text: str, at: int, gone: int):
    try:
        found = parse(FILE[:at] + text + FILE[at + gone :], "bench.toml")
    except UsageError as error:
        assert "bench.toml" in str(error)
    else:
        assert found
