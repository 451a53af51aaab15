"""The library's folders: finding, loading, adding, and what cannot be a program."""

from __future__ import annotations

from pathlib import Path

import pytest

from formats.image import Image
from linktool import library, machine
from linktool.errors import UsageError
from tests.linktool.program_texts import DESCRIPTION, SOURCE, changed

HERON = machine.load("heron")
FACTS = {"title": "Mine", "question": "Is it mine?", "ends": "monitor", "expect": "HELLO\\nWORLD"}
CODE = "        lda #$48\n        jsr char_out ; not key_in\n        jmp monitor\n"


def put(folder: Path, name: str, description: str = DESCRIPTION, source: str = SOURCE) -> None:
    (folder / name).mkdir(parents=True)
    (folder / name / "program.toml").write_text(description)
    (folder / name / "source.s").write_text(source)


def test_the_user_s_own_programs_stand_before_the_shipped_ones(tmp_path: Path) -> None:
    put(tmp_path, "march")
    put(tmp_path, "own")
    put(tmp_path, ".new-x")
    put(tmp_path, "Not-a-name")
    (tmp_path / "empty").mkdir()
    known = library.available(tmp_path)
    assert known["march"] == tmp_path / "march"
    assert known["own"] == tmp_path / "own"
    assert list(known) == sorted([*library.available(), "own"])
    assert library.load("march", tmp_path).title == "A trial"
    assert library.load("march").title == "RAM test, March C-"


def test_a_folder_that_is_not_there_holds_nothing(tmp_path: Path) -> None:
    assert library.available(tmp_path / "none") == library.available()


def test_every_program_of_a_checkout_is_shipped_in_the_wheel() -> None:
    """pyproject.toml puts programs/ at linktool/programs, which shipped_folder looks for first."""
    import tomllib

    root = Path(library.__file__).parent.parent
    wheel = tomllib.loads((root / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["force-include"]["programs"] == "linktool/programs"
    assert library.shipped_folder() in (root / "programs", root / "linktool" / "programs")


@pytest.mark.parametrize(
    "name", ["nothing", "", "..", "../march", "march/", "/etc", "MARCH", "march\0", "a" * 40]
)
def test_names_that_are_no_programs(name: str) -> None:
    with pytest.raises(UsageError, match="no program is called") as caught:
        library.load(name)
    assert "Known programs: address, characters" in caught.value.hint


def test_files_that_will_not_do(tmp_path: Path) -> None:
    put(tmp_path, "own")
    (tmp_path / "own" / "source.s").unlink()
    with pytest.raises(UsageError, match=r"source\.s: cannot be read: No such file"):
        library.load("own", tmp_path)
    (tmp_path / "own" / "source.s").write_bytes(b"\xff\xfe")
    with pytest.raises(UsageError, match=r"source\.s: is not UTF-8 text"):
        library.load("own", tmp_path)
    (tmp_path / "own" / "source.s").write_bytes(b" " * 0x100001)
    with pytest.raises(UsageError, match=r"source\.s: is longer than 1048576 bytes"):
        library.load("own", tmp_path)
    (tmp_path / "own" / "program.toml").write_text(changed("ends", "end"))
    (tmp_path / "own" / "source.s").write_text(SOURCE)
    with pytest.raises(UsageError, match=r"own/program\.toml: \[top level\] ends is missing"):
        library.load("own", tmp_path)


@pytest.mark.parametrize(
    ("texts", "values"),
    [
        (["first=1000"], {"first": 0x1000}),
        (["first=$1000", "VALUE = 4a"], {"first": 0x1000, "value": 0x4A}),
        ([], {}),
    ],
)
def test_parameters_as_typed(texts: list[str], values: dict[str, int]) -> None:
    assert library.parameters_from(library.load("march"), texts) == values


@pytest.mark.parametrize(
    "texts", [["first"], ["first="], ["first=12345"], ["first=xy"], ["a=1", "a=2"], ["a=-1"]]
)
def test_parameters_that_are_none(texts: list[str]) -> None:
    with pytest.raises(UsageError):
        library.parameters_from(library.load("march"), texts)


def test_a_source_is_added_in_the_same_form(tmp_path: Path) -> None:
    where = library.add(tmp_path / "programs", "own", CODE, FACTS)
    assert sorted(path.name for path in where.iterdir()) == ["program.toml", "source.s"]
    program = library.load("own", tmp_path / "programs")
    assert (program.title, program.needs, program.fixed) == ("Mine", ("monitor", "char_out"), False)
    built = library.build(program, HERON)
    assert built.start == 0x0280
    assert library.expected_screen(built) == ("HELLO", "WORLD")
    assert library.judge(built, "HELLO\rWORLD\r=").ok
    assert list((tmp_path / "programs").iterdir()) == [where]


def test_an_image_is_added_with_its_addresses_and_its_start(tmp_path: Path) -> None:
    image = Image.from_runs([(0x0300, bytes(range(20))), (0x0400, b"\xea\x60")], start=0x0303)
    library.add(tmp_path, "bytes", image, FACTS)
    program = library.load("bytes", tmp_path)
    assert program.fixed
    built = library.build(program, HERON)
    assert built.image == image
    assert built.start == 0x0303
    plain = Image.from_bytes(0x0300, b"\xea\x60")
    library.add(tmp_path, "plain", plain, {**FACTS, "expect": ""})
    built = library.build(library.load("plain", tmp_path), HERON)
    assert (built.image.segments, built.start) == (plain.segments, 0x0300)
    assert library.judge(built, "\r=").ok


def test_a_source_with_a_place_of_its_own_keeps_it(tmp_path: Path) -> None:
    library.add(tmp_path, "own", "; .org in a remark\n        .org $0300\n" + CODE, FACTS)
    assert library.build(library.load("own", tmp_path), HERON).start == 0x0300
    library.add(tmp_path, "free", "; .org in a remark\n" + CODE, FACTS)
    assert not library.load("free", tmp_path).fixed


@pytest.mark.parametrize(
    ("name", "facts", "message"),
    [
        ("Own", FACTS, "cannot be a program's name"),
        ("../own", FACTS, "cannot be a program's name"),
        ("", FACTS, "cannot be a program's name"),
        ("own", {**FACTS, "title": ""}, "the title is empty"),
        ("own", {**FACTS, "ends": "later"}, "'later' is no way to end"),
        ("own", {**FACTS, "expect": "{oops}"}, "outcome names oops"),
        ("own", {**FACTS, "colour": "red"}, "'colour' is not known; allowed: title, question, ends, expect"),
    ],
)
def test_what_is_refused_leaves_nothing_behind(
    tmp_path: Path, name: str, facts: dict[str, str], message: str
) -> None:
    with pytest.raises(UsageError, match=message.replace("(", r"\(")):
        library.add(tmp_path / "programs", name, CODE, facts)
    assert not (tmp_path / "programs").exists()


def test_nothing_is_replaced_unless_it_is_said(tmp_path: Path) -> None:
    where = library.add(tmp_path, "own", CODE, FACTS)
    (where / "notes.txt").write_text("mine")
    with pytest.raises(UsageError, match="is there already"):
        library.add(tmp_path, "own", CODE, {**FACTS, "title": "Second"})
    assert library.load("own", tmp_path).title == "Mine"
    library.add(tmp_path, "own", CODE, {**FACTS, "title": "Second"}, replace=True)
    assert library.load("own", tmp_path).title == "Second"
    assert [path.name for path in tmp_path.iterdir()] == ["own"]


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="cannot be written"):
        library.add(tmp_path / "file" / "programs", "own", CODE, FACTS)


def test_odd_characters_survive(tmp_path: Path) -> None:
    facts = {**FACTS, "title": 'A "quoted" \\ title with ü and \x7f', "question": "Was\tist 漢字 😀?"}
    library.add(tmp_path, "own", CODE, facts)
    program = library.load("own", tmp_path)
    assert (program.title, program.question) == (facts["title"], facts["question"])


def test_the_questions_are_the_facts() -> None:
    assert [question.key for question in library.QUESTIONS] == list(FACTS)
    assert all(question.asks for question in library.QUESTIONS)


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("title", "  ", "the title is empty"),
        ("question", "", "the question is empty"),
        ("ends", "never", "'never' is no way to end"),
        ("expect", "Hello", "'e' cannot be printed by the machine"),
    ],
)
def test_answers_that_will_not_do(key: str, text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        library.checked_answer(key, text)


def test_answers_that_will_do() -> None:
    assert library.checked_answer("title", " Mine ") == "Mine"
    assert library.checked_answer("expect", "HELLO\\nWORLD {first:2}!") == "HELLO\\nWORLD {first:2}!"
    assert library.checked_answer("expect", "") == ""
