"""The program library: the programs that come with linktool, and the user's own in a folder of theirs.

Each is a folder with program.toml (manifest.py) and source.s, assembled for the machine in hand
(program_build.py). A program of the user's stands before a shipped one of the same name. Names cannot
leave their folder. Adding writes a whole program or nothing.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from formats.image import Image, hex4
from linktool.errors import UsageError
from linktool.expectation import Verdict, expected_screen, judge
from linktool.manifest import ENDS, NAME, parse
from linktool.program import Program
from linktool.program_build import Built, build
from linktool.toml_table import shown

__all__ = [
    "QUESTIONS",
    "Built",
    "Program",
    "Question",
    "Verdict",
    "add",
    "available",
    "build",
    "checked_answer",
    "expected_screen",
    "judge",
    "load",
    "parameters_from",
    "refuse_taken",
    "shipped_folder",
]

_SIZE_MAX = 1 << 20
_BYTES_A_LINE = 8
_COMMON_SYMBOLS = (
    "monitor", "char_out", "key_in", "key_data", "key_status", "display_data", "display_status",
)  # fmt: skip


@dataclass(frozen=True)
class Question:
    """Something `add` must know: the key of program.toml, what to ask, and what an empty answer means."""

    key: str
    asks: str
    default: str = ""


QUESTIONS = (
    Question("title", "Title, a few words"),
    Question("question", "The question it answers"),
    Question("ends", "How it ends: monitor (by itself), key (at a key), reset (never)", "reset"),
    Question("expect", "What it prints when all is well (\\n: new line; may be empty)"),
)


def checked_answer(key: str, text: str) -> str:
    """An answer to the question `key` that will do. UsageError for one that will not."""
    text = text.strip()
    if key in ("title", "question") and not text:
        raise UsageError(f"the {key} is empty", "Write a few words")
    if key == "ends" and text not in ENDS:
        raise UsageError(f"{shown(text)} is no way to end", f"Write {', '.join(ENDS)}")
    if key == "expect":
        wrong = re.sub(r"\{[^{}]*\}|\\n|[ -_\n]", "", text)
        if wrong:
            raise UsageError(
                f"{shown(wrong[0])} cannot be printed by the machine",
                "It has capitals, digits and signs only: write HELLO, not Hello",
            )
    return text


def refuse_taken(user_folder: Path, name: str, replace: bool = False) -> Path:
    """Where a program of that name would be. UsageError for what is no name, or is taken already (unless
    `replace`)."""
    if not NAME.fullmatch(name):
        raise UsageError(
            f"{shown(name)} cannot be a program's name",
            "Take a-z, 0-9 and -, a letter first, at most 32 characters",
        )
    goal = user_folder / name
    if goal.exists() and not replace:
        raise UsageError(
            f"{goal} is there already", "Give another name with --as-name, or --overwrite to replace it"
        )
    return goal


def shipped_folder() -> Path:
    """Where the shipped programs are: in the package when installed, beside it in a checkout."""
    installed = Path(__file__).parent / "programs"
    return installed if installed.is_dir() else Path(__file__).parent.parent / "programs"


def available(user_folder: Path | None = None) -> dict[str, Path]:
    """Name -> folder, sorted; the user's own before the shipped ones."""
    found: dict[str, Path] = {}
    for base in (shipped_folder(), user_folder):
        if base is not None and base.is_dir():
            found.update({path.parent.name: path.parent for path in base.glob("*/program.toml")})
    return {name: found[name] for name in sorted(found) if NAME.fullmatch(name)}


def load(name: str, user_folder: Path | None = None) -> Program:
    """The program called `name`. UsageError where there is none, or its files will not do."""
    known = available(user_folder)
    if name not in known:
        raise UsageError(f"no program is called {shown(name)}", f"Known programs: {', '.join(known)}")
    description, source = known[name] / "program.toml", known[name] / "source.s"
    return parse(_text(description), str(description), name, _text(source), str(source))


def parameters_from(program: Program, texts: Sequence[str]) -> Mapping[str, int]:
    """Parameters as typed, "first=1000". UsageError for what is no such thing; `build` checks bounds."""
    values: dict[str, int] = {}
    for text in texts:
        name, equals, digits = text.partition("=")
        name, digits = name.strip().lower(), digits.strip().lstrip("$")
        if (
            not equals
            or not digits
            or len(digits) > 4
            or not all(each in "0123456789abcdefABCDEF" for each in digits)
        ):
            raise UsageError(
                f"{shown(text)} is no parameter", "Write name=value, the value in hex: first=1000"
            )
        if name in values:
            raise UsageError(f"{name} is given twice")
        values[name] = int(digits, 16)
    return values


def add(
    user_folder: Path,
    name: str,
    code: str | Image,
    facts: Mapping[str, str],
    replace: bool = False,
) -> Path:
    """Put a program into the user's folder, whole or not at all, and return its folder.

    code   assembly source as text, or an image, which is kept as a source of bytes with their addresses
    facts  answers to QUESTIONS by key; those missing take the default
    UsageError where the name is taken (unless `replace`), or what results is not a program.
    """
    goal = refuse_taken(user_folder, name, replace)
    source = code if isinstance(code, str) else _as_source(code)
    description = _description(source, facts)
    parse(description, f"{name}/program.toml", name, source, f"{name}/source.s")
    try:
        user_folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".new-", dir=user_folder) as made:
            new, old = Path(made) / name, Path(made) / "old"
            new.mkdir()
            (new / "program.toml").write_text(description, "utf-8")
            (new / "source.s").write_text(source, "utf-8")
            _swap(new, goal, old)
    except OSError as error:
        raise UsageError(f"{goal}: cannot be written: {error.strerror or error}") from error
    return goal


def _swap(new: Path, goal: Path, old: Path) -> None:
    """`new` to where `goal` is, and what was there to `old`; all as before where that fails."""
    if not goal.exists():
        new.rename(goal)
        return
    goal.rename(old)
    try:
        new.rename(goal)
    except OSError:
        old.rename(goal)
        raise


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(_SIZE_MAX + 1)
        if len(data) > _SIZE_MAX:
            raise UsageError(f"{path}: is longer than {_SIZE_MAX} bytes")
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise UsageError(f"{path}: is not UTF-8 text", "Save it as UTF-8") from error
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror or error}") from error


def _as_source(image: Image) -> str:
    """An image as a source of bytes, each run behind its .org; `start:` where it is to be started."""
    if not image:
        raise UsageError("there are no bytes to keep")
    lines = ["; Bytes, as they came from a file.", ""]
    for segment in image.segments:
        lines.append(f"        .org ${hex4(segment.first)}")
        breaks = {0, len(segment.data), *range(0, len(segment.data), _BYTES_A_LINE)}
        if image.start is not None and image.start in segment.range:
            breaks.add(image.start - segment.first)
        edges = sorted(breaks)
        for first, end in pairwise(edges):
            label = "start:" if segment.first + first == image.start else ""
            lines.append(f"{label:8}.byte " + ", ".join(f"${byte:02X}" for byte in segment.data[first:end]))
    return "\n".join(lines) + "\n"


def _description(source: str, facts: Mapping[str, str]) -> str:
    """program.toml for what was answered; the symbols the source names are what it needs."""
    known = {question.key: question.default for question in QUESTIONS}
    unknown = next((key for key in facts if key not in known), None)
    if unknown:
        raise UsageError(f"{shown(unknown)} is not known; allowed: {', '.join(known)}")
    known |= {key: checked_answer(key, text) for key, text in facts.items()}
    code = re.sub(r";.*", "", source).lower()
    needs = [name for name in _COMMON_SYMBOLS if re.search(rf"\b{name}\b(?!\s*:)", code)]
    expected = known["expect"].replace("\\n", "\n").strip("\n")
    return f"""title = {_quoted(known["title"])}
question = {_quoted(known["question"])}
ends = {_quoted(known["ends"])}
needs = [{", ".join(map(_quoted, needs))}]

[place]
fixed = {"true" if ".org" in code else "false"}

[[outcome]]
ok = true
prints = [{", ".join(map(_quoted, expected.splitlines()))}]
says = "it printed what it should"
"""


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
