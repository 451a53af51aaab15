"""Strategies for hypothesis: any image, small enough to be quick."""

from __future__ import annotations

from hypothesis import strategies as st

from formats.image import TOP, Image

addresses = st.one_of(st.integers(0, TOP), st.sampled_from([0, 1, 0xFF, 0x100, 0x280, 0xFFFE, TOP]))
runs = st.lists(st.tuples(addresses, st.binary(min_size=1, max_size=70)), min_size=1, max_size=6)


def _image(runs: list[tuple[int, bytes]], start: int | None) -> Image:
    cells = {first + at: byte for first, data in runs for at, byte in enumerate(data) if first + at <= TOP}
    return Image.from_cells(cells.items(), start)


images = st.builds(_image, runs, st.one_of(st.none(), addresses))
"""Images that hold at least one byte."""
