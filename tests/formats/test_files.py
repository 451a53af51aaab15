from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from formats import files, registry
from formats.errors import FormatError
from formats.image import Image

HEX = b":02030000A90052\n:00000001FF\n"


def refusal(call, *arguments, **options) -> str:
    with pytest.raises(FormatError) as caught:
        call(*arguments, **options)
    assert caught.value.source
    return str(caught.value)


DROP_RIGHTS = """
import os
if os.geteuid() == 0:
    os.setgroups([]), os.setgid(65534), os.setuid(65534)
"""
CALL = """
import sys
from formats import errors, files
{before}
try:
    {call}
except errors.FormatError as error:
    print(error)
"""


def apart(call: str, *arguments: str, before: str = DROP_RIGHTS) -> str:
    """What a process of its own prints for `call`; by default without root's rights."""
    return subprocess.run(
        [sys.executable, "-c", CALL.format(before=before, call=call), *arguments],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        check=True,
    ).stdout.strip()


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users can reach; pytest's own are closed to them."""
    folder = Path(tempfile.mkdtemp(prefix="linktool-"))
    folder.chmod(0o777)
    yield folder
    for path in folder.rglob("*"):
        path.chmod(0o777)
    shutil.rmtree(folder)


def test_a_file_is_loaded_by_its_path(tmp_path: Path):
    path = tmp_path / "a.hex"
    path.write_bytes(HEX)
    for name in (path, str(path)):
        loaded = files.load(name)
        assert loaded.image == Image.from_bytes(0x300, b"\xa9\x00")
        assert loaded.format.name == "intel-hex"
    assert files.load(path, at=0x400).warnings[0].startswith(f"{path}: moved from 0300 to 0400")


def test_a_source_finds_its_includes_beside_itself_wherever_one_stands(tmp_path: Path, monkeypatch):
    (tmp_path / "parts").mkdir()
    (tmp_path / "a.s").write_text('.org $0300\n.include "parts/b.s"\nlda out\n')
    (tmp_path / "parts" / "b.s").write_text('.incbin "c.bin"\n')
    (tmp_path / "parts" / "c.bin").write_bytes(b"\x01\x02")
    loaded = files.load(tmp_path / "a.s", symbols={"out": 0xFF03})
    assert loaded.image == Image.from_bytes(0x300, bytes.fromhex("0102AD03FF"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "parts" / "c.bin").unlink()
    assert refusal(files.load, "a.s") == (
        "parts/b.s, line 1: '.incbin \"c.bin\"': parts/c.bin: there is no such file; "
        "expected a file that exists"
    )


def test_a_source_includes_ordinary_files_only(tmp_path: Path):
    (tmp_path / "a.s").write_text('.org $0300\n.incbin "/dev/zero"\n')
    assert "it is not an ordinary file" in refusal(files.load, tmp_path / "a.s")


def test_a_large_file_is_refused_by_its_size_without_being_read(tmp_path: Path):
    path = tmp_path / "a.bin"
    with path.open("wb") as file:
        file.truncate(1 << 40)  # a terabyte with nothing in it: reading it would not end
    assert refusal(files.load, path, at=0) == (
        f"{path}: the file has {1 << 40} bytes; expected at most {files.SIZE_MAX}; an image has 65536 at most"
    )


def test_what_has_no_size_is_read_up_to_a_bound():
    assert f"/dev/zero: the file has more than {files.SIZE_MAX} bytes" in refusal(
        files.load, "/dev/zero", at=0
    )


def test_a_pipe_can_be_read(tmp_path: Path):
    path = tmp_path / "pipe.hex"
    os.mkfifo(path)
    writer = threading.Thread(target=path.write_bytes, args=(HEX,))
    writer.start()
    assert files.load(path).image == Image.from_bytes(0x300, b"\xa9\x00")
    writer.join()


def test_what_cannot_be_read_is_said(tmp_path: Path):
    (tmp_path / "a.hex").write_bytes(HEX)
    assert refusal(files.load, tmp_path / "no.hex").endswith(
        "there is no such file; expected a file that exists"
    )
    assert refusal(files.load, tmp_path).endswith("it is a folder; expected a file")
    assert "a part of the path is not a folder" in refusal(files.load, tmp_path / "a.hex" / "b.hex")
    assert "it cannot be read: " in refusal(files.load, "a\0b.hex")
    assert "it cannot be read: File name too long" in refusal(files.load, tmp_path / ("x" * 300))


def test_a_file_without_the_right_to_read_it_is_said(open_folder: Path):
    (open_folder / "a.hex").write_bytes(HEX)
    (open_folder / "a.hex").chmod(0)
    assert "it may not be read" in apart("files.load(sys.argv[1])", str(open_folder / "a.hex"))


def test_a_file_is_saved_whole_with_the_usual_rights(tmp_path: Path):
    path = tmp_path / "a.hex"
    files.save(path, HEX)
    assert path.read_bytes() == HEX
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    assert stat.S_IMODE(path.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)
    files.save(tmp_path / "text", "grün\n")
    assert (tmp_path / "text").read_bytes() == "grün\n".encode()
    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.hex", "plain", "text"]


def test_a_file_that_is_there_is_replaced_only_when_told(tmp_path: Path):
    path = tmp_path / "a.hex"
    path.write_bytes(b"old")
    path.chmod(0o640)
    says = f"{path}: the file exists; expected a new name. Give --force to replace it"
    assert refusal(files.save, path, HEX) == refusal(files.refuse_existing, path) == says
    assert "Give --overwrite to" in refusal(files.save, path, HEX, force_option="--overwrite")
    assert path.read_bytes() == b"old"
    files.refuse_existing(path, force=True)
    files.save(path, HEX, force=True)
    assert path.read_bytes() == HEX and stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [each.name for each in tmp_path.iterdir()] == ["a.hex"]


def test_a_file_that_appears_meanwhile_is_not_replaced(tmp_path: Path):
    """The last step itself refuses a name that is taken, whatever was seen before."""
    part, target = tmp_path / "part", tmp_path / "a.hex"
    part.write_bytes(b"new")
    target.write_bytes(b"theirs")
    with pytest.raises(FileExistsError):
        files._put_new(str(part), str(target))
    assert target.read_bytes() == b"theirs"


def test_of_many_who_save_under_one_name_one_succeeds(tmp_path: Path):
    path = tmp_path / "a.bin"
    outcome: list[str] = []
    together = threading.Barrier(8)

    def save(mark: int) -> None:
        together.wait()
        try:
            files.save(path, bytes([mark]) * 5000)
            outcome.append(f"saved {mark}")
        except FormatError as error:
            outcome.append(error.found)

    threads = [threading.Thread(target=save, args=(mark,)) for mark in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert outcome.count("the file exists") == 7
    assert f"saved {path.read_bytes()[0]}" in outcome
    assert [each.name for each in tmp_path.iterdir()] == ["a.bin"]


def test_a_link_is_followed_and_stays(tmp_path: Path):
    (tmp_path / "real.hex").write_bytes(b"old")
    (tmp_path / "link.hex").symlink_to("real.hex")
    assert "the file exists" in refusal(files.save, tmp_path / "link.hex", HEX)
    files.save(tmp_path / "link.hex", HEX, force=True)
    assert (tmp_path / "link.hex").is_symlink() and (tmp_path / "real.hex").read_bytes() == HEX


def test_where_nothing_can_be_saved_the_reason_is_said_and_nothing_is_left(tmp_path: Path):
    assert "its folder does not exist" in refusal(files.save, tmp_path / "no" / "a.hex", HEX)
    assert "it is a folder" in refusal(files.save, tmp_path, HEX)
    assert "it is a folder" in refusal(files.save, tmp_path, HEX, force=True)
    assert "it is a device or a pipe" in refusal(files.save, "/dev/null", HEX, force=True)
    assert "it cannot be written" in refusal(files.save, tmp_path / "a\0", HEX)
    assert "File name too long" in refusal(files.save, tmp_path / ("x" * 300), HEX)
    with pytest.raises(FormatError):
        files.save("", HEX)
    assert list(tmp_path.iterdir()) == []
    assert Path("/dev/null").is_char_device()


def test_a_folder_or_file_without_the_right_to_write_is_said(open_folder: Path):
    (open_folder / "a.hex").write_bytes(b"old")
    (open_folder / "a.hex").chmod(0o444)
    assert "it may not be written" in apart(
        'files.save(sys.argv[1], b"x", force=True)', str(open_folder / "a.hex")
    )
    open_folder.chmod(0o555)
    assert "it may not be written" in apart('files.save(sys.argv[1], b"x")', str(open_folder / "new.hex"))
    open_folder.chmod(0o777)
    assert [(each.name, each.read_bytes()) for each in open_folder.iterdir()] == [("a.hex", b"old")]


@pytest.mark.parametrize("force", [False, True])
def test_a_full_disk_leaves_the_old_file_and_no_other(tmp_path: Path, force: bool):
    """A limit on the size of files stands in for a full disk: the write fails midway all the same."""
    path = tmp_path / "a.bin"
    if force:
        path.write_bytes(b"old")
    limit = (
        "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        "resource.setrlimit(resource.RLIMIT_FSIZE, (8192, 8192))"
    )
    says = apart(f"files.save(sys.argv[1], bytes(65536), force={force})", str(path), before=limit)
    assert says == f"{path}: there is no room left for it; nothing was written. Make room on the disk"
    assert [each.read_bytes() for each in tmp_path.iterdir()] == ([b"old"] if force else [])


def test_a_write_that_goes_wrong_leaves_nothing(tmp_path: Path):
    with pytest.raises(TypeError):
        files._write_part(str(tmp_path / "part"), "not bytes", None)  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_a_new_name_that_cannot_be_given_is_not_left_claimed(tmp_path: Path):
    other = Path("/dev/shm")
    if not other.is_dir() or os.stat(other).st_dev == os.stat(tmp_path).st_dev:
        pytest.skip("needs a second file system, /dev/shm")
    part = other / f"linktool-{os.getpid()}"
    part.write_bytes(b"new")
    try:
        with pytest.raises(OSError):
            files._put_new(str(part), str(tmp_path / "a.hex"))
        assert list(tmp_path.iterdir()) == []
    finally:
        part.unlink()


def test_where_links_are_not_allowed_the_name_is_claimed_first(open_folder: Path):
    """Linux forbids links to another user's file: the same refusal as on a file system without links."""
    guard = Path("/proc/sys/fs/protected_hardlinks")
    if os.geteuid() != 0 or not guard.exists() or guard.read_text().strip() != "1":
        pytest.skip("needs root and protected_hardlinks")
    (open_folder / "part").write_bytes(b"new")
    arguments = str(open_folder / "part"), str(open_folder / "a.hex")
    assert apart("files._put_new(sys.argv[1], sys.argv[2])", *arguments) == ""
    assert [(each.name, each.read_bytes()) for each in open_folder.iterdir()] == [("a.hex", b"new")]


def test_converting_all_of_memory_is_quick(tmp_path: Path):
    """64 KiB from Intel HEX to S-record, Python's start and imports included, in processor time."""
    path = tmp_path / "a.hex"
    files.save(path, registry.write(Image.from_bytes(0, bytes(range(256)) * 256), "intel-hex"))
    convert = (
        "files.save(sys.argv[2], registry.write(files.load(sys.argv[1]).image, 'srecord')); "
        "import time; print(time.process_time())"
    )
    spent_s = apart(convert, str(path), str(tmp_path / "a.s19"), before="from formats import registry")
    assert float(spent_s) < 0.25
    assert len(files.load(tmp_path / "a.s19").image) == 65536
