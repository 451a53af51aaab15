"""Have the reader print memory in dense text, and take the bytes. Nothing is proven here: sums do that."""

from __future__ import annotations

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.errors import NoAnswer
from linktool.resident.checking import RUN_TRIES, hand_over
from linktool.resident.routines import Routines

GROUP, SYMBOLS = 3, 4
"""Bytes, and the characters they are printed as."""

RUN_BYTES = 256 * GROUP
"""Bytes printed in one run: 17 s at 60 characters a second, which Ctrl-C may have to wait for."""


def decoded(text: str) -> bytes:
    """The bytes of characters of six bits each. ValueError for another character, or half a group."""
    if len(text) % SYMBOLS:
        raise ValueError(f"{len(text)} characters are no whole groups")
    bits = 0
    for character in text:
        value = ord(character) - 0x20
        if not 0 <= value < 0x40:
            raise ValueError(f"{character!r} is none of the 64 characters")
        bits = bits << 6 | value
    return bits.to_bytes(len(text) // SYMBOLS * GROUP, "big")


def print_out(talk: Conversation, routines: Routines, stretch: Range) -> Talk[bytes | None]:
    """Have `stretch` printed, a whole number of threes, RUN_BYTES at most. None when it came spoilt; the
    machine is at its prompt either way. NoAnswer when the reader cannot be run, or does not come back."""
    count = len(stretch) // GROUP
    dialect = talk.dialect
    run, answer = speech.run_line(dialect, routines.read), speech.run_answer(dialect, routines.read)
    tail = "\r" + dialect.ready
    at = bytes([stretch.first & 0xFF, stretch.first >> 8, 0, count & 0xFF])
    for _attempt in range(RUN_TRIES):
        typed = yield from hand_over(talk, Image.from_bytes(routines.cells, at), run)
        if not typed:
            continue
        talk.counts.lines += 1
        yield from talk.send(dialect.end_key)
        whole = len(answer) + SYMBOLS * count + len(tail)
        yield from talk.gather(whole, talk.pacing.echo_s + 0.1)
        came, talk.inbox = talk.inbox, ""
        if len(came) == whole and came.endswith(tail) and speech.same(answer, came[: len(answer)]):
            talk.learn(whole, 0)
            try:
                return decoded(came[len(answer) : -len(tail)])
            except ValueError:
                talk.learn(0, 1)
                return None
        talk.learn(0, 1)
        yield from talk.leave_line()
        if came:
            return None
    raise NoAnswer(
        f"the reader could not be run: its line {run!r} was not taken {RUN_TRIES} times",
        "The link loses or changes too many characters: lower the rate, shorten the cable",
    )
