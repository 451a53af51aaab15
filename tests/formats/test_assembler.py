from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from formats.assembler import assemble
from formats.errors import FormatError
from formats.reading import ReadOptions


def test_one_run_leaves_nothing_to_the_next():
    leaky = (
        b'.charmap \'A, "Z"\n.macro m\nnop\n.macend\n.org $0300\nkept: * `m\n'
        b'.byte "A"\n.text other\n.org 9\nnop\n'
    )
    plain = b'.org $0300\n.byte "A"\n* bne -\n'
    before = assemble(plain, "a.s", ReadOptions())
    first = assemble(leaky, "b.s", ReadOptions())
    assert assemble(leaky, "b.s", ReadOptions()) == first
    assert assemble(plain, "a.s", ReadOptions()) == before
    for line in ("`m", "jmp kept"):
        with pytest.raises(FormatError):
            assemble(b".org $0300\n" + line.encode(), "a.s", ReadOptions())
    assert assemble(plain, "a.s", ReadOptions()) == before


def test_a_processor_asked_for_once_is_not_kept():
    assemble(b".org 0\nphx\n", "a.s", ReadOptions(processor="65C02"))
    with pytest.raises(FormatError):
        assemble(b".org 0\nphx\n", "a.s", ReadOptions())


def test_threads_wait_for_each_other():
    def value(number: int) -> int | None:
        source = f".org $0300\nlda #{number}\nloop: jmp loop\n"
        return assemble(source.encode(), f"{number}.s", ReadOptions()).image.get(0x301)

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(value, range(40))) == list(range(40))


def test_warnings_of_the_assembler_are_not_printed(capfd: pytest.CaptureFixture[str]):
    assemble(b".org 0\nx: bne x\ninc: rts\n", "a.s", ReadOptions())
    assert capfd.readouterr() == ("", "")
