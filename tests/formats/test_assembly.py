"""Assembly source: what a user writes and gets. Bytes: tests/outside/test_formats_assembly.py."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from formats import assembly
from formats.errors import FormatError
from formats.image import Image
from formats.reading import Reading, ReadOptions


def read(*lines: str, **options: object) -> Reading:
    return assembly.read("\n".join(lines), "a.s", ReadOptions(**options))  # type: ignore[arg-type]


def refusal(*lines: str, **options: object) -> str:
    with pytest.raises(FormatError) as caught:
        read(*lines, **options)
    return str(caught.value)


def files(**content: bytes):
    def include(name: str, including: str) -> tuple[str, bytes]:
        key = name.replace(".", "_")
        if key not in content:
            raise FormatError(name, "", "there is no such file", "a file that exists")
        return f"folder/{name}", content[key]

    return include


def test_a_source_gives_image_labels_origin_and_start():
    reading = read(".org $0300", ".alias shown $42", "  nop", "start: lda #shown", "done: jmp done")
    assert reading.image == Image.from_bytes(0x300, bytes.fromhex("EAA9424C0303"), start=0x301)
    assert reading.labels == {"shown": 0x42, "start": 0x301, "done": 0x303}
    assert reading.origin == 0x300 and reading.warnings == ()


def test_start_is_a_place_in_the_program_and_no_mere_number():
    assert read(".alias start $0300", ".org $0300", "rts").image.start is None
    assert read(".org $0300", "rts", ".org $0400", "start:").image.start is None


def test_bytes_land_where_org_says_and_gaps_stay_gaps():
    reading = read(".org $0400", ".byte 4", ".org $0300", ".byte 3", ".space room 2", ".word room")
    assert reading.image == Image.from_runs([(0x400, b"\x04"), (0x300, b"\x03"), (0x303, b"\x01\x03")])
    assert reading.origin == 0x400


def test_what_has_no_address_is_refused_and_the_message_says_how_to_give_one():
    assert refusal("lda #1") == (
        "a.s, line 1: 'lda #1': nothing says at which address this goes. "
        "Put .org before it, or give an address, for example --at 0280"
    )
    assert "line 4" in refusal(".org $0300", "nop", ".text other", "nop")
    assert "line 2" in refusal(".space room 2", "nop")


def test_an_address_given_places_what_no_org_places():
    reading = read("loop: jmp loop", ".org $fffc", ".word loop", at=0x0300)
    assert reading.image == Image.from_runs([(0x300, b"\x4c\x00\x03"), (0xFFFC, b"\x00\x03")])
    assert reading.origin == 0x300


def test_an_address_given_may_repeat_the_sources_own_and_not_move_it():
    assert read(".org $0300", "nop", at=0x300).image == Image.from_bytes(0x300, b"\xea")
    assert refusal("; hello", ".org $0300", "nop", at=0x400) == (
        "a.s, line 2: '.org $0300': this places the first byte at 0300, and --at says 0400. "
        "Change the .org, or leave --at out"
    )
    assert "an address within 0000-FFFF" in refusal("nop", at=0x10000)


def test_symbols_handed_in_are_known_to_the_source():
    symbols = {"char_out": 0xFF03, "Pointer": 0x10}
    reading = read("jsr char_out", "lda (pointer),y", "sta pointer", at=0x300, symbols=symbols)
    assert reading.image == Image.from_bytes(0x300, bytes.fromhex("2003FFB1108510"))
    assert reading.labels == {}


def test_a_definition_in_the_source_wins_over_a_symbol_handed_in():
    reading = read("; own", ".alias out $ff00", "jsr out", at=0x300, symbols={"out": 0xFF03, "monitor": 1})
    assert reading.image == Image.from_bytes(0x300, bytes.fromhex("2000FF"))
    assert reading.warnings == ("a.s, line 2: out is FF00 here; the FF03 handed in is not used",)
    assert read(".alias out 3", "nop", at=0x300, symbols={"out": 3}).warnings == ()


@pytest.mark.parametrize("symbols", [{"two words": 1}, {"1st": 1}, {"": 1}, {"a": 0x10000}, {"a": -1}])
def test_symbols_that_cannot_be_are_the_callers_mistake(symbols: dict[str, int]):
    with pytest.raises(ValueError):
        read("nop", at=0x300, symbols=symbols)


def test_the_65c02_has_more_instructions_and_only_when_asked():
    assert read("stz $10", at=0x300, processor="65C02").image == Image.from_bytes(0x300, b"\x64\x10")
    assert "line 1: 'stz $10'" in refusal("stz $10", at=0x300)
    with pytest.raises(ValueError):
        read("nop", at=0x300, processor="6809")


def test_the_accumulator_may_be_named():
    plain, named = (
        read(*(f"{op}{tail}" for op in ("asl", "lsr", "rol", "ror")), at=0) for tail in ("", " a")
    )
    assert plain.image == named.image == Image.from_bytes(0, bytes.fromhex("0A4A2A6A"))


@pytest.mark.parametrize(
    "line, says",
    [
        ("lda #", "'lda #': expected a value"),
        ("lda $10 $20", "'lda $10 $20': expected the end of the line or ','"),
        ("ldq #1", "'ldq #1': expected an instruction"),
        ("* = $0280", "'* = $0280': expected an instruction. Write .org ADDRESS for that"),
        ("tube = $FFF1", "Write .alias NAME VALUE for that"),
        ("tube EQU $FFF1", "Write .alias NAME VALUE for that"),
        (".db 1, 2", "Write .byte for that"),
        ("dc.w 1", "Write .word for that"),
        ("again lda #1", "If a label stands there, it ends in a colon"),
        ("bne nowhere", "'bne nowhere': Unknown label 'nowhere'"),
        ("lda #256", "Byte constant 256 out of range"),
        ("sta #3", "does not have mode"),
        (".byte 1/0", "'.byte 1/0': a division by zero"),
        (".word 65536", "out of range"),
        ("`nothing", "Undefined macro 'nothing'"),
        (".scope", "'.scope': .scope without its .scend"),
        (".scend", "Unmatched .scend"),
        (".macro m", ".macro without its .macend"),
        (".macend", "Unmatched .macend"),
        (".advance $ffffffff", ".advance goes to FFFFFFFF, outside 0000-FFFF"),
        ("bne ^+200", "Branch target out of bounds"),
        ('.byte "', "Unterminated string constant"),
        (".nothing", "Unknown pragma nothing"),
        ("lda " + "(" * 5000 + "1", "nested too deeply"),
        ("one: .byte 1", "Duplicate label definition 'one'"),
    ],
)
def test_what_the_assembler_refuses_comes_with_file_line_and_text(line: str, says: str):
    message = refusal(".org $0300", "one: nop", line, "bit $1234", "nop")
    assert message.startswith("a.s, line 3: ") and says in message


def test_bytes_beyond_memory_are_refused():
    assert refusal(".org $ffff", "nop", "nop") == (
        "a.s, line 3: it places bytes at 10000-10000; expected addresses within 0000-FFFF"
    )


def test_several_mistakes_are_told_together():
    assert refusal(".org $0300", "bne one", "bne two", "bne three") == (
        "a.s, line 2: 'bne one': Unknown label 'one'. "
        "Also line 3: Unknown label 'two'; line 4: Unknown label 'three'"
    )
    assert refusal(".org 0", *["bne nowhere"] * 9).endswith("; and 4 more")


def test_a_mistake_in_a_macro_names_both_lines():
    assert refusal(".org $0300", ".macro skip", "bne _1", ".macend", "nop", "`skip $0400") == (
        "a.s, line 3, in the macro used at line 6: 'bne _1': Branch target out of bounds"
    )


def test_bytes_given_twice():
    assert refusal(".org $0300", ".byte 1,2", ".org $0301", ".byte 3") == (
        "a.s, line 4: 0301 is 03 here and 02 at line 2; expected one value for each address"
    )
    assert read(".org 0", ".byte 1", ".org 0", ".byte 1").warnings == (
        "a.s, line 4: 0000 is given again, with the same value as at line 2",
    )


def test_a_label_named_like_an_instruction_is_a_warning():
    assert read(".org 0", "inc: .byte 1").warnings == (
        "a.s, line 2: the label 'inc' is an instruction's name",
    )


def test_a_source_without_bytes_is_refused():
    assert refusal("; nothing") == "a.s: the source gives no bytes; expected instructions or data"
    assert "the file is empty" in refusal("")


def test_files_are_included_from_where_the_caller_finds_them():
    include = files(
        table_s=b"table: .byte 1,2\n", data_bin=bytes(range(10)), map_bin=bytes(range(1, 256)) + b"\0"
    )
    reading = read(
        ".org $0300",
        '.require "table.s"',
        '.require "table.s"',
        '.incbin "data.bin"',
        '.incbin "data.bin", 8',
        '.incbin "data.bin", two, 1',
        ".alias two 2",
        '.charmapbin "map.bin"',
        '.byte "A"',
        include=include,
    )
    assert reading.image.segments[0].data == bytes([1, 2, *range(10), 8, 9, 2]) + b"B"


@pytest.mark.parametrize(
    "line, says",
    [
        ('.include "no.s"', "a.s, line 2: '.include \"no.s\"': no.s: there is no such file"),
        ('.incbin "no.bin"', "no.bin: there is no such file"),
        ('.charmapbin "bad.s"', "the character map folder/bad.s has 12 bytes, not 256"),
        ('.include "bad.s"', "folder/bad.s, line 2: 'bne x': Unknown label 'x'"),
        ('.include "self.s"', "files include each other more than 16 deep"),
        ('.incbin "bad.s", 20', "Offset extends past end of file"),
        ('.incbin "bad.s", 2, 20', "File too small for .incbin subrange"),
        (".include", "expected text in quotes"),
        (".incbin 3", "expected text in quotes"),
    ],
)
def test_an_include_that_fails_says_why(line: str, says: str):
    include = files(bad_s=b"nop\nbne x\n\n\n", self_s=b'.include "self.s"\n')
    assert says in refusal(".org $0300", line, include=include)


def test_a_mistake_across_files_names_both():
    include = files(one_s=b"\n.org $0300\n.byte 9\n")
    assert refusal(".org $0300", ".byte 1", '.include "one.s"', include=include) == (
        "a.s, line 3 of folder/one.s: 0300 is 09 here and 01 at line 2; expected one value for each address"
    )


def test_without_files_nothing_is_included():
    assert "cannot include files: it was not read from a file" in refusal(".org 0", '.include "a.s"')


def test_a_source_writes_no_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    reading = read(".org 0", f'.outfile "{tmp_path}/out"', '.listfile "list"', "nop")
    assert list(tmp_path.iterdir()) == []
    assert reading.warnings == (
        "a.s, line 2: a source does not decide what is written; passed over",
        "a.s, line 3: a source does not decide what is written; passed over",
    )


def test_a_runaway_source_is_stopped():
    twice = (".macro m", "`m", "`m", ".macend", ".org 0", "`m")
    assert "does one use itself?" in refusal(*twice)
    assert "the source with its includes is too long" in refusal("\n" * 100_001)
    assert "at most 100000 lines and 1048576 bytes" in refusal(";" * 1_048_577)
    assert "line 10: '.advance $ffff': the source gives more than 262144 bytes" in refusal(
        *[".org 0", ".advance $ffff"] * 50
    )
    include = files(big_bin=bytes(200_000))
    assert (
        "line 2: '.incbin \"big.bin\"': with folder/big.bin, .incbin brings in more than 262144"
        in refusal('.incbin "big.bin"', '.incbin "big.bin"', include=include)
    )


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(
        st.binary(max_size=120),
        st.text(max_size=60).map(str.encode),
        st.lists(
            st.sampled_from(
                [*'#,`<>():.+-*/&|^[]{}"\\;\n \'$%', "lda", "x", "y", ".org", ".byte", ".macro", ".macend",
                 "a:", ".scope", ".text", ".data", ".space", ".alias", ".incbin", ".charmap", ".cbmfloat",
                 "1", "$10", '"s"', "_1", "bne", ".checkpc", ".advance", ".word", ".require", ".listfile"]
            ),
            max_size=30,
        ).map(lambda parts: " ".join(parts).encode()),
    )
)  # fmt: skip
def test_junk_is_assembled_or_refused_and_nothing_is_printed(capfd: pytest.CaptureFixture[str], junk: bytes):
    try:
        assembly.read(junk, "a.s", ReadOptions(at=0x300))
    except FormatError as error:
        assert error.source == "a.s"
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    "head, meant",
    [
        (b"; comment\n.org $0300\n", True),
        (b"start:\tLDA #1\n\tRTS\n", True),
        (b"add: adc #1\n", False),
        (b"0300: AD 00 02\n", False),
        (b"S1130300\n", False),
        (b"The bit is set, and the dog sat.\n", False),
        (b"\x00\xff", False),
    ],
)
def test_what_it_looks_like(head: bytes, meant: bool):
    assert assembly.looks_like(head) is meant


def test_only_reading_a_source_imports_the_assembler():
    import subprocess

    code = "import sys, formats.assembly; print('Ophis' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout == "False\n"
