"""enter: type an image in, read it back, type again what differs, and say what is proven.

Nothing is typed before the whole image is known to be safe on the machine. Lines are as long as the
errors seen allow; after a line that was typed again, the next one carries its address. What still
differs after a bounded number of rounds is listed with expected and found. What is typed again may spoil
what was proven before (address lines that touch, cells that disturb each other): a claim made before the
last line was typed is none, so everything is read once more.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from formats.image import Image, Segment
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.errors import NoAnswer, RefusedError
from linktool.jobs.attempt import attempt, drop_unseen
from linktool.jobs.report import Finding, Proof, Report, ranges_of
from linktool.jobs.verify import Verification, verify
from linktool.machine import Machine
from linktool.pacing import best_length
from linktool.plan import Line, next_line, timed_delays

ROUNDS = 2
"""How often bytes that read back wrong are typed again."""

LINE_TRIES = 25
"""How often one line is typed before the link counts as useless."""

MENDABLE = 64
"""Characters a line, on a link with errors, where the rubout key mends a line in place. Measured with
tests/benchmarks: longer lines lose more to the ones that cannot be mended than they save."""


def refuse_harm(machine: Machine, image: Image, forced: tuple[str, ...] = ()) -> None:
    """Raise RefusedError where `image` would overwrite what the machine needs; names the areas."""
    if not image:
        raise RefusedError("there is nothing to enter: the image is empty")
    unknown = [name for name in forced if name.lower() not in machine.area_names()]
    if unknown:
        raise RefusedError(
            f"--force {unknown[0]}: machine {machine.name} has no such area",
            f"Its areas: {', '.join(machine.area_names())}",
        )
    hindrances = machine.hindrances(image, forced)
    if hindrances:
        listed = "; ".join(f"{area.range} is in {area.name} ({area.reason})" for area in hindrances)
        names = " ".join(f"--force {name}" for name in dict.fromkeys(area.name for area in hindrances))
        raise RefusedError(
            f"the image would overwrite what machine {machine.name} needs: {listed}",
            f"Move it with --at, or allow it with {names} if you are sure",
        )


@dataclass
class _State:
    typed: list[tuple[int, bytes]] = field(default_factory=list)
    result: Verification = field(default_factory=Verification)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What differs, of what was read since the last line was typed."""
        return tuple(sorted(self.result.findings, key=lambda finding: finding.address))


def enter(talk: Conversation, image: Image, port: str = "", check: bool = True) -> Talk[Report]:
    """Type `image`, then prove it. The caller has called `refuse_harm`. Never raises for the link."""
    state = _State()
    if talk.machine.link.echo:
        ended = yield from attempt(talk, "enter", _type_and_prove(talk, image, state, check))
    else:
        work = _send_unseen(talk, image, state)
        ended = yield from attempt(talk, "enter", work, wake=False, at_stop=drop_unseen)
    proof: Proof = "read back" if check and talk.machine.link.echo else "none"
    return Report(
        command="enter",
        machine=talk.machine.name,
        port=port,
        image=image,
        proof=proof,
        differences=state.findings,
        proven=ranges_of(state.result.proven_image),
        typed=ranges_of(Image.from_cells(cell for run in state.typed for cell in enumerate(run[1], run[0]))),
        stopped=ended.stopped,
        lost=ended.lost,
        noise=state.result.noise,
        effort=ended.effort,
        one_way=not talk.machine.link.echo,
    )


def type_and_prove(
    talk: Conversation, image: Image, typed: list[tuple[int, bytes]], result: Verification, check: bool = True
) -> Talk[tuple[Finding, ...]]:
    """Type `image` and, if `check`, prove it, as `enter` does; what still differs in the end."""
    state = _State(typed, result)
    yield from _type_and_prove(talk, image, state, check)
    return state.findings


def _type_and_prove(talk: Conversation, image: Image, state: _State, check: bool) -> Talk[None]:
    yield from type_image(talk, image, state.typed, len(image))
    if check:
        yield from _prove(talk, image, state)


def _prove(talk: Conversation, image: Image, state: _State) -> Talk[None]:
    """Read back; type again and read again what differs, a bounded number of times; then the rest again."""
    yield from verify(talk, image, state.result)
    for round_number in range(ROUNDS):
        findings = state.findings
        if not findings:
            return
        pending = Image.from_cells((finding.address, finding.expected) for finding in findings)
        yield from talk.note("retype", bytes=len(pending))
        state.result.withdraw()
        yield from type_image(talk, pending, state.typed, len(pending))
        yield from verify(talk, pending, state.result)
        if not state.findings or round_number == ROUNDS - 1:
            yield from verify(talk, image.minus(pending), state.result)


def type_image(
    talk: Conversation, image: Image, typed: list[tuple[int, bytes]], total: int, phase: str = "enter"
) -> Talk[None]:
    """Type every byte of `image`; `typed` grows by each line that was proven and taken."""
    machine = talk.machine
    upcoming: Line | None = None
    done, failures = 0, 0
    for number, segment in enumerate(image.segments):
        at, continued = segment.first, False
        while at <= segment.last:
            limit = _limit(talk, failures)
            line = upcoming or next_line(machine, segment, at, continued=continued, limit=limit)
            upcoming = _following(talk, image, number, line)
            ahead = upcoming.text if upcoming else ""
            answer = yield from talk.line(line.text, line.answer, ahead, line.bytes_at)
            if answer is None:
                failures += 1
                upcoming, continued = None, False
                if failures == LINE_TRIES:
                    raise NoAnswer(
                        f"the line for {line.range} came back wrong {failures} times",
                        "The link loses or changes too many characters: lower the rate, shorten the cable",
                    )
                continue
            failures, continued = 0, True
            typed.append((line.range.first, line.data))
            at = line.range.last + 1
            done += len(line.data)
            yield from talk.note("progress", phase=phase, done=done, total=total)


def _limit(talk: Conversation, failures: int) -> int | None:
    """How long a line may be with the errors seen; None for as long as the dialect takes."""
    if talk.error_rate < CALM and not failures:
        return None
    longest = talk.dialect.line_limit - 4
    mendable = bool(talk.dialect.rubout_key)
    longest = min(longest, MENDABLE) if mendable else best_length(talk.error_rate, 4, longest)
    return max(12, longest >> failures // 2)


def _following(talk: Conversation, image: Image, number: int, line: Line) -> Line | None:
    """The line after `line`, which stands in segment `number`, if the link is clean enough to plan it."""
    if talk.error_rate >= CALM:
        return None
    segment, at = image.segments[number], line.range.last + 1
    if at <= segment.last:
        return next_line(talk.machine, segment, at, continued=True)
    following: tuple[Segment, ...] = image.segments[number + 1 : number + 2]
    return next_line(talk.machine, following[0], following[0].first) if following else None


def _send_unseen(talk: Conversation, image: Image, state: _State) -> Talk[None]:
    """A one-way link: every key after its delay, every line after its own; nothing is proven."""
    key_s, line_s = timed_delays(talk.machine)
    yield from talk.send(talk.dialect.cancel_key)
    yield from talk.pause(line_s)
    done = 0
    for segment in image.segments:
        at = segment.first
        while at <= segment.last:
            line = next_line(talk.machine, segment, at, layout="screen")
            talk.counts.lines += 1
            for key in line.text:
                yield from talk.send(key)
                yield from talk.pause(key_s)
            yield from talk.send(talk.dialect.end_key)
            yield from talk.pause(line_s)
            state.typed.append((line.range.first, line.data))
            at = line.range.last + 1
            done += len(line.data)
            yield from talk.note("progress", phase="enter", done=done, total=len(image))
