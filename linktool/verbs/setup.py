"""setup: a guided first connection. Cautions, port, adapter; then the machine is listened to, woken,
recognised and measured, its ROM read, its memory looked at, and a profile written that a person can read.

Nothing is written to the machine's memory, and no file before the last question is answered. On the
simulated board it is a rehearsal: the same steps, the same questions.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

from formats.image import Image
from linktool import cautions
from linktool import machine as profiles
from linktool.actions import Talk
from linktool.bench import Bench
from linktool.calibration import prepare
from linktool.commands import Values
from linktool.conversation import Conversation, Gone, Stopped
from linktool.dialect import printable
from linktool.errors import STOPPED, LinktoolError, NoAnswer, PortLost, ProfileError, UsageError
from linktool.jobs.attempt import withdraw
from linktool.jobs.read import read as read_job
from linktool.jobs.screen import listen as listen_job
from linktool.jobs.setup import Look, Recognition, SetupReport, look, places_to_look, recognise
from linktool.keyboard import pipe
from linktool.link_answers import FIND, frame_answer, port_answer, rate_answer, rate_or_find
from linktool.machine import Machine, characters_per_second
from linktool.pacing import Pacing
from linktool.ports import list_ports, port_kind
from linktool.questions import Questions, questions_on
from linktool.range_list import parse_ranges, shown_ranges
from linktool.render.setup import stretches, unheard_lines
from linktool.render.text import count, duration
from linktool.verbs.setup_profile import Met, write_profile

T = TypeVar("T")
RATES = (2400, 9600, 1200, 300, 4800, 19200, 600, 110, 38400, 115200)
LISTEN_S = 2.0
LARGE_ROM = 0x400


class SetupLeft(LinktoolError):
    """The user stopped it."""

    exit_status = STOPPED


def setup(bench: Bench, values: Values) -> SetupReport:
    """Ask, connect, and write the profile."""
    out = sys.stderr if bench.quiet else sys.stdout
    piped = None if sys.stdin.isatty() else pipe(sys.stdin).read_line
    questions = questions_on(out, piped, suggested=bool(values["yes"]))
    return Guide(bench, questions, values["name"]).go()


class Guide:
    """One guided connection. `name`: what the profile is to be called, None to ask."""

    def __init__(self, bench: Bench, questions: Questions, name: str | None = None) -> None:
        self.bench, self.ask, self.name = bench, questions, name
        self.known = [profiles.load(each, bench.folders.machines) for each in self._usable()]

    def _usable(self) -> list[str]:
        """Profiles that can be read, the user's own and the shipped ones."""
        found = []
        for name in profiles.available(self.bench.folders.machines):
            try:
                profiles.load(name, self.bench.folders.machines)
            except ProfileError:
                continue
            found.append(name)
        return found

    def go(self) -> SetupReport:
        port = self._port()
        rehearsal = port_kind(port) == "board"
        self._cautions(rehearsal)
        one_way = self._one_way()
        machine = self._unheard() if one_way else self._heard(port)
        rom: Image = Image()
        looked: tuple[Look, ...] = ()
        if not one_way:
            rom = self._read_rom(machine)
            looked = self._look(machine)
        return write_profile(self.bench, self.ask, Met(machine, port, rom, looked, rehearsal), self.name)

    # ---- before the first key -----------------------------------------------------------------

    def _port(self) -> str:
        try:
            port = self.bench.port_name
        except UsageError:
            found = list_ports()
            self.ask.tell(
                "Ports that are there:", *(f"  {each.device}  {each.description}" for each in found)
            )
            self.ask.tell("  board:  the simulated board, for a rehearsal")
            port = self.ask.ask(
                "Port", port_answer, found[0].device if found and found[0].known else "board:"
            )
            self.bench.use(port=port)
        port_kind(port)
        return port

    def _cautions(self, rehearsal: bool) -> None:
        if rehearsal:
            self.ask.tell(
                "A rehearsal on the simulated board: nothing can be harmed. On a real one, mind this:"
            )
        self.ask.tell(*(f"  {line}" for line in cautions.WIRING))
        if not self.ask.yes("Read, and all of it seen to?", True if rehearsal else self.ask.suggested):
            raise UsageError("setup ends here; nothing was sent", "Come back when the wiring is seen to")

    def _one_way(self) -> bool:
        kinds = (
            ("two-way", "keys go in and what the display prints comes back"),
            ("one-way", "keys go in only; you watch the machine's own screen"),
        )
        return self.ask.choose("Adapter", kinds, "two-way") == "one-way"

    # ---- a two-way adapter --------------------------------------------------------------------

    def _heard(self, port: str) -> Machine:
        """The machine as it answers. Rate after rate is tried where the user does not know it."""
        base = self._first_guess()
        wired = port_kind(port) in ("device", "rfc2217")
        rates: tuple[int, ...] = (base.link.rate,)
        if wired:
            asked = self.ask.ask(f"Rate of the adapter in baud, or {FIND}", rate_or_find, FIND)
            rates = RATES if asked is None else (asked,)
            frame = self.ask.ask("Frame: data bits, parity, stop bits", frame_answer, base.link.frame)
            base = replace(base, link=replace(base.link, frame=frame))
        while True:
            heard = Recognition(None)
            for rate in rates:
                link = replace(base.link, rate=rate)
                if wired:
                    self.ask.tell(f"Trying {rate} baud {link.frame}.")
                found = self._recognised(replace(base, link=link), listen=rate == rates[0])
                if found.machine:
                    return self._measured(
                        replace(found.machine, link=replace(link, newline=found.machine.link.newline))
                    )
                heard = found if found.heard else heard
            self.ask.tell(*unheard_lines(heard))
            if not self.ask.yes("Try again?", False):
                raise NoAnswer(
                    "no known dialect was recognised; no profile was written",
                    "If the wiring is right, copy a profile (`linktool machines` shows their files), set its "
                    "[dialect] from your monitor's manual, keep it among your own, and run setup again",
                )

    def _first_guess(self) -> Machine:
        try:
            return self.bench.machine
        except LinktoolError:
            return self.known[0]

    def _recognised(self, machine: Machine, listen: bool) -> Recognition:
        self.bench.adopt(machine)
        if listen:
            self.ask.tell(f"Listening for {LISTEN_S:g} s. Press the machine's reset key now if you like.")
            before = self.bench.screen.received
            self._hold(lambda talk: listen_job(talk, LISTEN_S))
            came = self.bench.screen.received - before
            self.ask.tell(f"Heard: {count(came, 'character') if came else 'nothing'}.")
            self.ask.tell(
                "Waking the machine: its cancel key is struck, which drops a line and writes nothing."
            )
        result: Recognition = self._hold(lambda talk: recognise(talk, self.known))
        if result.machine:
            spoken = result.machine.dialect
            prompt = f" with the prompt {spoken.ready!r}" if spoken.ready else ""
            self.ask.tell(f"It answers in the dialect of profile {result.machine.name}{prompt}.")
        return result

    def _measured(self, machine: Machine) -> Machine:
        self.bench.adopt(machine)
        pacing: Pacing = self._hold(_calibrated)
        rate = 1 / pacing.period_s
        self.ask.tell(
            f"The display takes {rate:.0f} characters a second; a key's echo is back after "
            f"{1000 * pacing.round_trip_s:.0f} ms; {count(pacing.window, 'key')} may be under way at once."
        )
        if abs(rate / machine.screen.rate_cps - 1) < 0.1:  # the measurement is no better than that
            return machine
        seen = round(min(rate, characters_per_second(machine.link)))  # more than the link carries is not seen
        return replace(machine, screen=replace(machine.screen, rate_cps=seen))

    def _read_rom(self, machine: Machine) -> Image:
        rom = [area.range for area in machine.areas if area.kind == "rom"]
        wanted = self.ask.ask("ROM to read and keep, or none", parse_ranges, shown_ranges(rom))
        size = sum(len(each) for each in wanted)
        if not size:
            return Image()
        if size > LARGE_ROM:
            self.ask.tell(f"That takes about {duration(size * 3.75 / machine.screen.rate_cps)}.")
        report = self.bench.hold(lambda talk, port: read_job(talk, wanted, port))
        if report.stopped:
            raise SetupLeft("stopped; no profile was written")
        if report.lost:
            raise NoAnswer(report.lost, "No profile was written")
        vectors = [report.image.get(address) for address in (0xFFFC, 0xFFFD)]
        if None not in vectors:
            low, high = vectors
            assert low is not None and high is not None
            self.ask.tell(f"Read {count(size, 'byte')}. The reset vector points to {high << 8 | low:04X}.")
        else:
            self.ask.tell(f"Read {count(size, 'byte')}.")
        return report.image

    def _look(self, machine: Machine) -> tuple[Look, ...]:
        """Which memory answers, by reading alone."""
        self.ask.tell(
            "Now a look at which memory answers: 4 bytes in each kilobyte, read twice. Nothing is written. "
            "Reading some I/O registers does things, so those are left out."
        )
        known = [area.range for area in machine.areas if area.kind == "io"]
        skip = self.ask.ask("Addresses not to be read, or none", parse_ranges, shown_ranges(known))
        places = places_to_look(skip)
        if not self.ask.yes(f"Look at {len(places)} places, about a minute at 60 characters a second?", True):
            return ()
        found: tuple[Look, ...] = self._hold(lambda talk: look(talk, places))
        self.ask.tell(*stretches(found, machine))
        return found

    # ---- a one-way adapter --------------------------------------------------------------------

    def _unheard(self) -> Machine:
        names = [(each.name, each.title) for each in self.known]
        name = self.ask.choose(
            "Which profile's dialect does your monitor speak?", names, self._first_guess().name
        )
        machine = next(each for each in self.known if each.name == name)
        wired = port_kind(self.bench.port_name) in ("device", "rfc2217")
        rate = (
            self.ask.ask("Rate of the adapter in baud", rate_answer, str(machine.link.rate))
            if wired
            else None
        )
        link = replace(machine.link, echo=False, pacing="timed", window=0, rate=rate or machine.link.rate)
        machine = replace(machine, link=link)
        self.bench.adopt(machine)
        expected = printable(machine.dialect.cancel_answer, " and a new line, then ").rstrip(", then")
        self.ask.tell("The cancel key is struck now. Watch the machine's screen.")
        self._hold(_cancel_struck)
        if not self.ask.yes(f"Did {expected} appear?", self.ask.suggested):
            raise NoAnswer(
                "the machine did not show that the key arrived; no profile was written",
                "Look at power, ground, the adapter's rate and strobe, and which dialect the monitor speaks",
            )
        return machine

    def _hold(self, job: Callable[[Conversation], Talk[T]]) -> T:
        """A part of the conversation; a stop leaves the machine at its prompt."""

        def guarded(talk: Conversation, port: str) -> Talk[T]:
            try:
                return (yield from job(talk))
            except Stopped:
                if talk.machine.link.echo:
                    yield from withdraw(talk)
                raise SetupLeft("stopped; no profile was written") from None
            except Gone as error:
                raise PortLost(str(error), "No profile was written") from None

        return self.bench.hold(guarded)


def _calibrated(talk: Conversation) -> Talk[Pacing]:
    yield from prepare(talk)
    return talk.pacing


def _cancel_struck(talk: Conversation) -> Talk[None]:
    yield from talk.send(talk.dialect.cancel_key)
    yield from talk.pause(0.5)
