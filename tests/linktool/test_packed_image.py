"""Packed images: exact, and nothing but our own error for anything else."""

from __future__ import annotations

import base64
import contextlib
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image
from linktool.packed_image import pack, unpack
from tests.linktool.images import images


@given(images(first=0, last=0xFFFF, runs=6, longest=600), st.none() | st.integers(0, 0xFFFF))
def test_any_image_comes_back_as_it_was(image, start):
    whole = Image(image.segments, start)
    assert unpack(pack(whole)) == whole


def test_the_largest_and_the_most_broken_images_come_back():
    for image in (
        Image.from_bytes(0, bytes(range(256)) * 256),
        Image.from_cells((address, address & 0xFF) for address in range(0, 0x10000, 2)),
        Image(),
    ):
        assert unpack(pack(image)) == image


@given(st.text() | st.none() | st.integers() | st.binary().map(lambda b: base64.b64encode(b).decode()))
def test_junk_is_an_error_of_our_own(junk):
    with pytest.raises(ValueError):
        unpack(junk)


@given(st.binary(max_size=40))
def test_junk_within_a_good_stream_is_an_error_or_an_image(data):
    text = base64.b64encode(zlib.compress(data)).decode()
    with contextlib.suppress(ValueError):
        assert isinstance(unpack(text), Image)


def test_a_stream_that_unpacks_to_more_than_a_machine_holds_is_refused():
    bomb = base64.b64encode(zlib.compress(bytes(50_000_000))).decode()
    with pytest.raises(ValueError, match="too long"):
        unpack(bomb)


def test_a_torn_stream_is_refused():
    text = pack(Image.from_bytes(0x0280, bytes(range(200))))
    with pytest.raises(ValueError):
        unpack(text[: len(text) // 2 // 4 * 4])
