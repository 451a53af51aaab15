"""Have the checker sum stretches of memory, and judge what it prints.

A sum of 24 bits that came as expected is proof even on a link with faults: chance would have to bend a
wrong sum into the right one. A sum that did not come as expected proves nothing where the link has shown
faults, so it is asked for again. What stays wrong is for the caller to read back, or to send again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from formats.image import Image, Range, Segment
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.errors import NoAnswer
from linktool.machine import Machine
from linktool.plan import lines
from linktool.resident.routines import Routines
from linktool.resident.sums import PIECE, SYMBOLS, pieces, printed, request, sum_of

RUN_PIECES = 64
"""Pieces summed in one run: about 4 s of printing, which Ctrl-C may have to wait for."""

IN_VAIN = 8
"""Pieces summed in vain between two in doubt, rather than running the checker twice."""

ASKED_AGAIN = 3

RUN_TRIES = 25
"""How often a routine's cells and run line are typed before the link counts as useless."""

CYCLES_A_BYTE = 92


@dataclass
class Verdict:
    """agree: pieces summed as expected, in any order. differ: the others, with what was printed for each
    the last time, "" where that is not clear."""

    agree: list[Range] = field(default_factory=list)
    differ: dict[Range, str] = field(default_factory=dict)


def stretches(image: Image) -> Iterator[Segment]:
    """The image in stretches that one run can sum."""
    for segment in image.segments:
        for at in range(0, len(segment.data), RUN_PIECES * PIECE):
            yield Segment(segment.first + at, segment.data[at : at + RUN_PIECES * PIECE])


def judge(
    talk: Conversation,
    routines: Routines,
    image: Image,
    into: Verdict | None = None,
    total: int | None = None,
    phase: str = "check",
) -> Talk[Verdict]:
    """Sum all of `image`'s addresses and compare with what it holds. NoAnswer when the checker is silent.

    into: the verdict to fill, so that an interruption leaves what is proven.
    """
    verdict = into or Verdict()
    done, total = 0, total or len(image)
    for stretch in stretches(image):
        yield from _judge_stretch(talk, routines, stretch, verdict)
        done += len(stretch.data)
        yield from talk.note("progress", phase=phase, done=done, total=total)
    return verdict


def _judge_stretch(talk: Conversation, routines: Routines, stretch: Segment, verdict: Verdict) -> Talk[None]:
    doubtful = pieces(stretch.range)
    told: dict[Range, str] = {}
    for _asked in range(1 + ASKED_AGAIN):
        wrong: list[Range] = []
        clean = True
        for group in grouped(doubtful):
            wanted = pieces(Range(group[0].first, group[-1].last))
            expected = [
                printed(sum_of(stretch.data[piece.first - stretch.first : piece.last + 1 - stretch.first]))
                for piece in wanted
            ]
            came = yield from ask(talk, routines, Range(wanted[0].first, wanted[-1].last))
            good, whole = matched(expected, came)
            agreed = {piece for piece, right in zip(wanted, good, strict=True) if right}
            verdict.agree += [piece for piece in group if piece in agreed]
            wrong += [piece for piece in group if piece not in agreed]
            for number, piece in enumerate(wanted):
                told[piece] = came[SYMBOLS * number : SYMBOLS * number + SYMBOLS] if whole else ""
            clean = clean and whole
        doubtful = wrong
        if not doubtful or (clean and talk.error_rate < CALM):
            break
    verdict.differ.update((piece, told[piece]) for piece in doubtful)


def grouped(doubtful: list[Range]) -> list[list[Range]]:
    """Pieces that are asked for together: printing a few sums in vain is quicker than another run."""
    groups: list[list[Range]] = []
    for piece in doubtful:
        if groups and piece.first - groups[-1][-1].last <= IN_VAIN * PIECE:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    return groups


def matched(expected: list[str], came: str) -> tuple[list[bool], bool]:
    """Which of the expected sums stand in what came, and whether as much came as should.

    Where characters were lost, sums count that stand at their place from the front or from the back.
    """
    count, whole = len(expected), SYMBOLS * len(expected)
    if len(came) == whole:
        return [came[SYMBOLS * i : SYMBOLS * i + SYMBOLS] == expected[i] for i in range(count)], True
    good = [False] * count
    for i in range(count):
        if came[SYMBOLS * i : SYMBOLS * i + SYMBOLS] != expected[i]:
            break
        good[i] = True
    for i in range(count):
        end = len(came) - SYMBOLS * i
        if good[-1 - i] or end < SYMBOLS or came[end - SYMBOLS : end] != expected[-1 - i]:
            break
        good[-1 - i] = True
    return good, False


def ask(talk: Conversation, routines: Routines, stretch: Range) -> Talk[str]:
    """Run the checker over one stretch; what it printed. The machine is at its prompt afterwards.

    NoAnswer when it could not be run, or did not come back.
    """
    dialect = talk.dialect
    count = len(pieces(stretch))
    answer, tail = speech.run_answer(dialect, routines.check), "\r" + dialect.ready
    run = speech.run_line(dialect, routines.check)
    handed = Image.from_bytes(routines.cells, request(stretch))
    for _attempt in range(RUN_TRIES):
        typed = yield from hand_over(talk, handed, run)
        if not typed:
            continue
        talk.counts.lines += 1
        yield from talk.send(dialect.end_key)
        silence_s = talk.pacing.echo_s + _piece_s(talk.machine) + 0.1
        whole = len(answer) + SYMBOLS * count + len(tail)
        yield from talk.gather(whole, silence_s)
        came, talk.inbox = talk.inbox, ""
        exact = len(came) == whole and came.endswith(tail) and speech.same(answer, came[: len(answer)])
        if exact:
            talk.learn(whole, 0)
            return came[len(answer) : -len(tail)]
        talk.learn(0, 1)
        yield from talk.leave_line()
        if len(came) > len(answer):
            body = came[len(answer) :] if speech.same(answer, came[: len(answer)]) else came
            return body.removesuffix(dialect.ready).rstrip("\r") if body.endswith(tail) else body
    raise NoAnswer(
        f"the checker could not be run: its line {run!r} was not taken {RUN_TRIES} times",
        "The link loses or changes too many characters: lower the rate, shorten the cable",
    )


def hand_over(talk: Conversation, handed: Image, run: str) -> Talk[bool]:
    """Type what a routine is handed into its cells, then its run line, not yet ended. False: try again."""
    planned = list(lines(talk.machine, handed))
    for number, line in enumerate(planned):
        following = planned[number + 1].text if number + 1 < len(planned) else run
        answered = yield from talk.line(line.text, line.answer, following, line.bytes_at)
        if answered is None:
            return False
    proven = yield from talk.type_text(run)
    if not proven:
        talk.counts.retyped += 1
        yield from talk.leave_line()
    return proven


def _piece_s(machine: Machine) -> float:
    """How long a piece is summed, in seconds."""
    return PIECE * CYCLES_A_BYTE / machine.clock_hz
