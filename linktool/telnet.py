"""The telnet protocol's framing (RFC 854, RFC 855): data and commands apart, in both directions.

Pure: bytes in, data and commands out; it may be fed in any pieces. It decides nothing about options.
The link must be in binary mode (RFC 856): a carriage return then stands for itself.
"""

from __future__ import annotations

from dataclasses import dataclass

SE, SB, WILL, WONT, DO, DONT, IAC = 240, 250, 251, 252, 253, 254, 255
BINARY, SUPPRESS_GO_AHEAD = 0, 3
LONGEST_ADVICE = 4096
"""More bytes than this between SB and SE are no telnet; the rest of them is dropped."""


@dataclass(frozen=True)
class Command:
    """WILL, WONT, DO or DONT with an option; or SB with an option and what was said about it."""

    verb: int
    option: int
    said: bytes = b""


class TelnetReader:
    """Takes what came in and gives the data in it; the commands in it come beside."""

    def __init__(self) -> None:
        self._verb: int | None = None
        self._escaped = False
        self._advice: bytearray | None = None

    def feed(self, came: bytes) -> tuple[bytes, list[Command]]:
        """The data and the commands that are complete now, each in the order they came."""
        if IAC not in came and not self._escaped and self._verb is None and self._advice is None:
            return came, []
        data, commands = bytearray(), []
        for code in came:
            if self._verb is not None:
                commands.append(Command(self._verb, code))
                self._verb = None
            elif not self._escaped and code == IAC:
                self._escaped = True
            elif not self._escaped or code == IAC:
                self._escaped = False
                if self._advice is None:
                    data.append(code)
                elif len(self._advice) < LONGEST_ADVICE:
                    self._advice.append(code)
            else:
                self._escaped = False
                if code in (WILL, WONT, DO, DONT):
                    self._verb = code
                elif code == SB:
                    self._advice = bytearray()
                elif code == SE and self._advice is not None:
                    if self._advice:
                        commands.append(Command(SB, self._advice[0], bytes(self._advice[1:])))
                    self._advice = None
        return bytes(data), commands


def escaped(data: bytes) -> bytes:
    """Data as it goes on the wire: the code FF twice."""
    return data.replace(b"\xff", b"\xff\xff")


def option(verb: int, number: int) -> bytes:
    """IAC, the verb, the option."""
    return bytes((IAC, verb, number))


def advice(number: int, said: bytes) -> bytes:
    """What is said about an option, between SB and SE."""
    return bytes((IAC, SB, number)) + escaped(said) + bytes((IAC, SE))
