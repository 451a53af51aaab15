"""The one table of formats, and reading and writing by it. To add a format, add a row.

A format is found by the name the user gives, else by the file's suffix, else by its content. Where
suffix and content disagree the file is refused, with what it looks like; an explicit name settles it.
The suffix .txt promises nothing. Bytes that look like no text format are raw binary where `at` is given.

`at` when reading:
  raw binary      the load address; needed
  .s source       the origin of what no .org places (formats/assembly.py)
  all others      carry addresses; the image is moved so that its lowest byte stands at `at`, with a
                  warning, since the bytes are not changed and code may name its own addresses
"""

from __future__ import annotations

import os.path
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from formats import assembly, binary, dump, intel_hex, srecord
from formats.errors import FormatError
from formats.image import TOP, Image, hex4
from formats.reading import Include, Reading, ReadOptions
from formats.text import BLANKS, normal_line_ends

_HEAD = 4096


@dataclass(frozen=True)
class Format:
    """One row.

    name           what --format takes; title: how messages call it
    suffixes       lower case, with the point; the first one is the usual one
    reader         (content, source, options) -> Reading
    writer         (image, fill byte or None) -> content; None: reading only
    looks_like     whether content begins like this format; None: any bytes could
    needs_address  reading needs `at`
    keeps_start, keeps_gaps  what a written file can hold
    """

    name: str
    title: str
    suffixes: tuple[str, ...]
    reader: Callable[[bytes, str, ReadOptions], Reading]
    writer: Callable[[Image, int | None], bytes] | None
    looks_like: Callable[[bytes], bool] | None
    needs_address: bool = False
    keeps_start: bool = False
    keeps_gaps: bool = True


@dataclass(frozen=True)
class Loaded:
    """An image, the format it was read as, and what should be said about it (whole sentences).

    labels  names a source defines, values 0..FFFF; empty for other formats
    origin  address of the first byte in file order; the image's lowest for most formats
    """

    image: Image
    format: Format
    warnings: tuple[str, ...] = ()
    labels: Mapping[str, int] = field(default_factory=dict)
    origin: int = 0


def _by_first_line(judge: Callable[[str], bool]) -> Callable[[bytes], bool]:
    def looks_like(data: bytes) -> bool:
        lines = normal_line_ends(data[:_HEAD]).decode("latin-1").split("\n")
        first = next((line for line in (line.strip(BLANKS) for line in lines) if line), "")
        return judge(first)

    return looks_like


def _source_like(data: bytes) -> bool:
    return assembly.looks_like(data[:_HEAD])


FORMATS: tuple[Format, ...] = (
    Format(
        "intel-hex", intel_hex.NAME, (".hex", ".ihx", ".ihex"),
        lambda data, source, _: intel_hex.read(data, source),
        lambda image, _: intel_hex.write(image).encode("ascii"),
        _by_first_line(intel_hex.looks_like), keeps_start=True,
    ),
    Format(
        "srecord", srecord.NAME, (".s19", ".srec", ".s28", ".s37", ".mot"),
        lambda data, source, _: srecord.read(data, source),
        lambda image, _: srecord.write(image).encode("ascii"),
        _by_first_line(srecord.looks_like), keeps_start=True,
    ),
    Format(
        "source", assembly.NAME, (".s", ".asm"),
        assembly.read,
        None,
        _source_like,
    ),
    Format(
        "lines", dump.NAME_LINES, (".txt", ".lines"),
        lambda data, source, _: dump.read(data, source),
        lambda image, _: dump.write_lines(image).encode("ascii"),
        _by_first_line(dump.looks_like_lines),
    ),
    Format(
        "dump", dump.NAME_DUMP, (".dump", ".dmp"),
        lambda data, source, _: dump.read(data, source),
        lambda image, _: dump.write_dump(image).encode("ascii"),
        _by_first_line(dump.looks_like_dump),
    ),
    Format(
        "binary", binary.NAME, (".bin", ".rom", ".raw"),
        lambda data, source, options: binary.read(data, source, options.at),
        binary.write,
        None, needs_address=True, keeps_gaps=False,
    ),
    Format(
        "binary-with-address", binary.NAME_WITH_ADDRESS, (".lbin",),
        lambda data, source, _: binary.read_with_address(data, source),
        binary.write_with_address,
        None, keeps_gaps=False,
    ),
)  # fmt: skip
_SAME_READER = frozenset({"lines", "dump"})
_SAYS_LITTLE = ".txt"
"""A suffix that chooses a format to write, but promises none to a reader."""


def by_name(name: str) -> Format:
    """The format the user names. FormatError lists the names there are."""
    for each in FORMATS:
        if each.name == name:
            return each
    raise FormatError(
        "", "", f"format {name!r} is not known", "one of " + ", ".join(each.name for each in FORMATS)
    )


def by_suffix(path: str) -> Format | None:
    """The format a file's name promises, or None."""
    suffix = os.path.splitext(path)[1].lower()
    return next((each for each in FORMATS if suffix in each.suffixes), None)


def by_content(data: bytes) -> Format | None:
    """The text format this content begins like, or None."""
    return next((each for each in FORMATS if each.looks_like is not None and each.looks_like(data)), None)


def read(
    data: bytes,
    source: str,
    *,
    format: str | None = None,
    at: int | None = None,
    symbols: Mapping[str, int] | None = None,
    processor: str = "6502",
    include: Include | None = None,
) -> Loaded:
    """The image in `data`; `source` names it in messages and gives the suffix. FormatError where refused.

    at         address 0..FFFF, see above
    symbols    names an assembly source may use
    processor  "6502" or "65C02", for a source
    include    where a source's .include and .incbin get files; None: it may not have any
    """
    if at is not None and not 0 <= at <= TOP:
        raise FormatError(source, "", f"address {at:X}", "an address within 0000-FFFF")
    chosen = by_name(format) if format else _recognised(data, source, at)
    reading = chosen.reader(data, source, ReadOptions(at, symbols or {}, processor, include))
    image, warnings, origin = reading.image, reading.warnings, reading.origin
    lowest = image.segments[0].first
    if at is not None and chosen.name != "source" and lowest != at:
        image = _moved(image, at, source)
        warnings = (
            *warnings,
            f"{source}: moved from {hex4(lowest)} to {hex4(at)}; the bytes are unchanged, "
            "so code that names its own addresses will not run there",
        )
        origin = None
    return Loaded(
        image, chosen, warnings, reading.labels, image.segments[0].first if origin is None else origin
    )


def _recognised(data: bytes, source: str, at: int | None) -> Format:
    """The format by suffix and content. FormatError where they disagree or say nothing."""
    promised, seen = by_suffix(source), by_content(data)
    if seen is not None and source.lower().endswith(_SAYS_LITTLE):
        return seen
    if promised is None:
        if seen is not None:
            return seen
        if at is not None and data:
            return by_name("binary")
        names = ", ".join(each.name for each in FORMATS)
        raise FormatError(
            source, "", "neither its name nor its content tells the format" if data else "the file is empty",
            "a known suffix or content", f"Say what it is with --format: {names}",
        )  # fmt: skip
    if seen is None or seen is promised or {seen.name, promised.name} <= _SAME_READER:
        return promised
    if promised.looks_like is not None and promised.looks_like(data):
        return promised
    raise FormatError(
        source, "", f"the name says {promised.title}, the content looks like {seen.title}",
        "a name that fits the content",
        f"Rename it, or say which it is: --format {seen.name} or {promised.name}",
    )  # fmt: skip


def _moved(image: Image, at: int, source: str) -> Image:
    try:
        return image.moved(at)
    except ValueError as error:
        raise FormatError(
            source, "", f"moved to {hex4(at)}, {error}", "an image that stays within 0000-FFFF"
        ) from error


def for_writing(path: str, format: str | None = None) -> Format:
    """The format to write a file in: the one named, else by suffix. FormatError where none fits."""
    chosen = by_name(format) if format else by_suffix(path)
    names = ", ".join(each.name for each in FORMATS if each.writer)
    if chosen is None:
        raise FormatError(
            path, "", "its suffix names no format", "a known suffix", f"Say which with --to: {names}"
        )
    if chosen.writer is None:
        raise FormatError(
            path, "", f"{chosen.title} can only be read", f"a format that can be written: {names}"
        )
    return chosen


def write(image: Image, format: str, *, fill: int | None = None, source: str = "") -> bytes:
    """The image in the named format. `fill` (0..255) goes into gaps where the format cannot hold them.

    FormatError, naming `source`, for an empty image, a gap without `fill`, and a format that is only read.
    """
    chosen = for_writing(source, format)
    assert chosen.writer is not None
    if fill is not None and not 0 <= fill <= 0xFF:
        raise FormatError(source, "", f"fill byte {fill:X}", "a byte, 00 to FF")
    try:
        return chosen.writer(image, fill)
    except FormatError as error:
        raise FormatError(source, error.place, error.found, error.expected, error.hint) from error


def not_kept(image: Image, format: str) -> tuple[str, ...]:
    """What a file in that format will not hold of this image, as sentences."""
    chosen = by_name(format)
    lost = []
    if image.start is not None and not (chosen.keeps_start and (image.start or chosen.name != "srecord")):
        lost.append(f"the start address {hex4(image.start)} is left out: {chosen.title} cannot hold it")
    if len(image.segments) > 1 and not chosen.keeps_gaps:
        lost.append(f"the image's gaps are filled: {chosen.title} cannot hold them")
    return tuple(lost)
