"""Strategies that draw images, for property tests."""

from __future__ import annotations

from hypothesis import strategies as st

from formats.image import Image


def images(
    first: int = 0x0280, last: int = 0x3FFF, runs: int = 4, longest: int = 300
) -> st.SearchStrategy[Image]:
    """Images of one to `runs` runs within first..last; low bytes are common, as in programs."""
    byte = st.one_of(st.integers(0, 255), st.integers(0, 15))
    run = st.tuples(st.integers(first, last), st.lists(byte, min_size=1, max_size=longest))
    return st.lists(run, min_size=1, max_size=runs).map(
        lambda found: Image.from_cells(
            (at + offset, value)
            for at, values in found
            for offset, value in enumerate(values)
            if at + offset <= last
        )
    )
