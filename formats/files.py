"""Images from and to the disk: the one file of formats that opens files, kept apart from them all.

Reading refuses a file that is too large before it reads it. Writing is whole or not at all: into a
temporary file in the same folder, to the disk, then under its name; without `force` never over
another file, not even one that appeared meanwhile. Every failure is a FormatError in plain words.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from collections.abc import Mapping

from formats import registry
from formats.errors import FormatError

SIZE_MAX = 4 * 1024 * 1024
"""Bytes. 64 KiB at one byte a line stay below 1.2 million in every format."""


def load(
    path: str | os.PathLike[str],
    *,
    format: str | None = None,
    at: int | None = None,
    symbols: Mapping[str, int] | None = None,
    processor: str = "6502",
) -> registry.Loaded:
    """The image in a file, as `registry.read`. What a source includes is found beside the including file."""
    name = os.fspath(path)
    return registry.read(
        read_bytes(name), name, format=format, at=at, symbols=symbols, processor=processor, include=_included
    )


def _included(name: str, including: str) -> tuple[str, bytes]:
    path = os.path.normpath(os.path.join(os.path.dirname(including), name))
    return path, read_bytes(path, only_regular=True)


def read_bytes(path: str, only_regular: bool = False) -> bytes:
    """A file's content, at most SIZE_MAX bytes; more is refused, by its size where that is known."""
    try:
        with open(path, "rb") as file:
            status = os.fstat(file.fileno())
            if only_regular and not stat.S_ISREG(status.st_mode):
                raise FormatError(path, "", "it is not an ordinary file", "an ordinary file")
            if stat.S_ISREG(status.st_mode) and status.st_size > SIZE_MAX:
                raise _too_large(path, f"{status.st_size} bytes")
            data = file.read(SIZE_MAX + 1)
    except (OSError, ValueError) as error:
        raise _failure(path, error, "read") from error
    if len(data) > SIZE_MAX:
        raise _too_large(path, f"more than {SIZE_MAX} bytes")
    return data


def _too_large(path: str, size: str) -> FormatError:
    return FormatError(path, "", f"the file has {size}", f"at most {SIZE_MAX}; an image has 65536 at most")


def save(
    path: str | os.PathLike[str], data: bytes | str, force: bool = False, force_option: str = "--force"
) -> None:
    """Write a file whole. FormatError when it cannot be, and when it exists and `force` is not given.

    `force_option` is how the user gives `force`, for the message.
    """
    name = os.fspath(path)
    content = data.encode("utf-8") if isinstance(data, str) else data
    try:
        target = os.path.realpath(name) if name else ""
        mode = _may_replace(name, target, force)
        folder, leaf = os.path.split(target)
        part = os.path.join(folder, f".{leaf[:100]}.{os.getpid()}-{os.urandom(4).hex()}.part")
        _write_part(part, content, mode)
        try:
            if force:
                os.replace(part, target)
            else:
                _put_new(part, target)
        except BaseException:
            _forget(part)
            raise
    except (OSError, ValueError) as error:
        raise _failure(name, error, "written", force_option) from error


def refuse_existing(path: str | os.PathLike[str], force: bool = False, force_option: str = "--force") -> None:
    """FormatError where `save` would refuse because of what is there: to ask before the work is done."""
    name = os.fspath(path)
    try:
        _may_replace(name, os.path.realpath(name), force)
    except (OSError, ValueError) as error:
        raise _failure(name, error, "written", force_option) from error


def _may_replace(name: str, target: str, force: bool) -> int | None:
    """The mode of the file to be replaced, None when there is none. FormatError when it may not be."""
    try:
        mode = os.stat(target).st_mode
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), name)
    if not stat.S_ISREG(mode):
        raise FormatError(name, "", "it is a device or a pipe", "an ordinary file, or a name not yet taken")
    if not force:
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), name)
    if not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), name)
    return stat.S_IMODE(mode)


def _write_part(part: str, content: bytes, mode: int | None) -> None:
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with open(descriptor, "wb") as file:
            if mode is not None:
                os.chmod(part, mode)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        _forget(part)
        raise


def _put_new(part: str, target: str) -> None:
    """Give the part its name, only if no file has it: a link fails where the name is taken.

    Where the file system has no links the name is claimed first, with an empty file.
    """
    try:
        os.link(part, target)
        os.unlink(part)
        return
    except FileExistsError:
        raise
    except (OSError, NotImplementedError, AttributeError):
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL))
    try:
        os.replace(part, target)
    except BaseException:
        _forget(target)
        raise


def _forget(path: str) -> None:
    with contextlib.suppress(OSError):  # already gone, or its folder is: nothing more can be done
        os.unlink(path)


def _failure(path: str, error: Exception, doing: str, force_option: str = "") -> FormatError:
    """An error of the operating system in words."""
    if isinstance(error, FileExistsError):
        return FormatError(path, "", "the file exists", "a new name", f"Give {force_option} to replace it")
    if isinstance(error, FileNotFoundError):
        if doing == "read":
            return FormatError(path, "", "there is no such file", "a file that exists")
        return FormatError(path, "", "its folder does not exist", "a folder that exists")
    if isinstance(error, IsADirectoryError):
        return FormatError(path, "", "it is a folder", "a file")
    if isinstance(error, NotADirectoryError):
        return FormatError(path, "", "a part of the path is not a folder", "a path through folders")
    if isinstance(error, PermissionError):
        return FormatError(path, "", f"it may not be {doing}", "a file you have the right to use")
    code = getattr(error, "errno", None)
    if code in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return FormatError(
            path, "", "there is no room left for it; nothing was written", "", "Make room on the disk"
        )
    reason = getattr(error, "strerror", None) or str(error)
    return FormatError(path, "", f"it cannot be {doing}: {reason}")
