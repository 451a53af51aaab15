"""Every error linktool raises for a user, and the exit status of each family, once.

    LinktoolError
      UsageError      bad input or usage; nothing was sent            2
        ProfileError  a machine profile that cannot be used
        RefusedError  it would harm: reserved areas, ROM, I/O, holes
      LinkError       the link: none, no answer, lost                 3
        PortError     the port cannot be opened
        PortLost      the port went away while in use
        NoAnswer      the machine is silent or speaks garbage
      OwnFault        linktool itself is wrong (own_fault.py)         70

A message says what, where and what to do. Foreign exceptions are turned into these at the border,
with the cause chained. `formats.FormatError` counts as bad input too.
"""

from __future__ import annotations

DONE, DIFFERENT, BAD_INPUT, LINK_FAILED, STOPPED = 0, 1, 2, 3, 130
OWN_FAULT = 70
"""EX_SOFTWARE of sysexits.h, common practice."""


class LinktoolError(Exception):
    """The root of all errors meant for a user; `hint` says what to do."""

    exit_status = BAD_INPUT

    def __init__(self, message: str, hint: str = "") -> None:
        self.message = message
        self.hint = hint
        super().__init__(f"{message}. {hint}" if hint else message)


class UsageError(LinktoolError):
    """Bad input or usage; nothing was sent and nothing was written."""


class ProfileError(UsageError):
    """A machine profile that cannot be used: names file, key and the allowed values."""


class RefusedError(UsageError):
    """The request would harm the machine or what runs in it; nothing was sent."""


class LinkError(LinktoolError):
    """The link failed."""

    exit_status = LINK_FAILED


class PortError(LinkError):
    """The port cannot be opened or set."""


class PortLost(LinkError):
    """The port went away while in use: a cable pulled, a server gone."""


class NoAnswer(LinkError):
    """The machine does not answer, or not in a way the profile knows."""
