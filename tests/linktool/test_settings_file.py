"""settings.toml with another port or machine; read back with Python's own TOML reader."""

from __future__ import annotations

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from linktool.settings_file import with_settings


def test_the_rest_of_the_file_stays_as_it_is():
    before = '# my bench\nport = "/dev/ttyUSB0"   # left socket\n'
    after = with_settings(before, port="board:", machine="heron")
    assert after == '# my bench\nport = "board:"\nmachine = "heron"\n'


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x7f")))
def test_any_value_reads_back(value):
    assert tomllib.loads(with_settings("", port=value)) == {"port": value}
