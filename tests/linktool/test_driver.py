"""Several conversations side by side in one thread: virtual ports, real ones, and ones that fail."""

from __future__ import annotations

import contextlib
import resource
import socket
import threading
import time

import pytest

from linktool.actions import Cancelled, Lost, Note, Received, Send, Talk, TimeUp, Wait
from linktool.driver import Outcome, drive, drive_all, never
from linktool.errors import NoAnswer
from linktool.port import Port
from linktool.tcp_port import TcpPort
from linktool.trace import Entry
from tests.linktool.test_exchange import Dialogue


def echoes(text: bytes, seconds: float = 5.0) -> Talk[bytes]:
    """Type `text` key by key, each after the echo of the one before; ends with what came."""
    came = b""
    for key in text:
        yield Send(bytes([key]))
        event = yield Wait(seconds)
        if not isinstance(event, Received):
            raise NoAnswer(f"no echo: {event}")
        came += event.data
    return came


class EchoDialogue(Dialogue):
    """Echoes every key after `delay_s` of virtual time."""

    def __init__(self, delay_s: float) -> None:
        super().__init__()
        self.delay_s = delay_s

    def write(self, data: bytes) -> None:
        super().write(data)
        self.arriving.append((self.clock + self.delay_s, data))


class Polled(EchoDialogue):
    """A real-time port without a descriptor, as a serial port is on Windows."""

    real_time = True

    def now(self) -> float:
        return time.monotonic()

    def write(self, data: bytes) -> None:
        self.arriving.append((time.monotonic() + self.delay_s, data))

    def read(self, until: float) -> bytes:
        while not (self.arriving and self.arriving[0][0] <= time.monotonic()):
            if time.monotonic() >= until:
                return b""
            time.sleep(0.001)
        return self.arriving.pop(0)[1]


class EchoServer:
    """Echoes what comes on every connection, from one thread that only does that."""

    def __init__(self) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0), backlog=128)
        self.url = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"
        self.connections: list[socket.socket] = []
        self.threads: list[threading.Thread] = []
        self.thread = threading.Thread(target=self._accept)
        self.thread.start()

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            self.connections.append(connection)
            thread = threading.Thread(target=self._echo, args=(connection,))
            thread.start()
            self.threads.append(thread)

    def _echo(self, connection: socket.socket) -> None:
        with connection:
            try:
                while data := connection.recv(4096):
                    connection.sendall(data)
            except OSError:
                return

    def __enter__(self) -> EchoServer:
        return self

    def __exit__(self, *_: object) -> None:
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        self.thread.join()
        for connection in self.connections:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in self.threads:
            thread.join()


def test_virtual_ports_run_side_by_side_each_on_its_own_clock() -> None:
    ports = [EchoDialogue(0.05), EchoDialogue(1.5), EchoDialogue(0.0)]
    outcomes = drive_all([(echoes(b"0280"), port) for port in ports])
    assert [outcome.value() for outcome in outcomes] == [b"0280"] * 3
    assert [port.clock for port in ports] == pytest.approx([0.2, 6.0, 0.0])


def test_one_that_fails_does_not_stop_the_others() -> None:
    def broken() -> Talk[bytes]:
        yield Wait(0.01)
        raise ZeroDivisionError("inside")

    gone = Dialogue(gone_at=0.3)
    outcomes = drive_all(
        [
            (broken(), Dialogue()),
            (echoes(b"AB"), EchoDialogue(0.1)),
            (echoes(b"C"), gone),
            (echoes(b"D", 0.2), Dialogue()),
        ]
    )
    assert isinstance(outcomes[0].error, ZeroDivisionError)
    assert outcomes[1] == Outcome(b"AB")
    assert isinstance(outcomes[2].error, NoAnswer) and "gone" in str(outcomes[2].error)
    with pytest.raises(NoAnswer, match="TimeUp"):
        outcomes[3].value()


def test_a_job_that_fails_before_its_first_wait_is_kept_apart_too() -> None:
    def at_once() -> Talk[bytes]:
        raise NoAnswer("nothing to do")
        yield Wait(0)

    def value() -> Talk[bytes]:
        return b"done"
        yield Wait(0)

    failed, done = drive_all([(at_once(), Dialogue()), (value(), Dialogue())])
    assert isinstance(failed.error, NoAnswer)
    assert done.value() == b"done"


def test_no_jobs_are_no_outcomes() -> None:
    assert drive_all([]) == ()


def test_a_wish_to_stop_reaches_every_conversation() -> None:
    def patient() -> Talk[str]:
        event = yield Wait(100.0)
        return type(event).__name__

    asked = iter([0, 0, 1, *[1] * 1000])
    outcomes = drive_all([(patient(), Dialogue()) for _ in range(3)], stop=lambda: next(asked))
    assert [outcome.value() for outcome in outcomes] == ["Cancelled"] * 3


def test_notes_and_traces_say_which_pair_they_belong_to() -> None:
    def noting(word: str) -> Talk[None]:
        yield Note(word)

    told: list[tuple[int, str]] = []
    seen: tuple[list[Entry], list[Entry]] = ([], [])
    drive_all(
        [(noting("a"), Dialogue()), (noting("b"), Dialogue())],
        notes=lambda number, note, at: told.append((number, note.topic)),
        traces=[seen[0].append, seen[1].append],
    )
    assert told == [(0, "a"), (1, "b")]
    assert [entry.facts["topic"] for entry in seen[0] + seen[1]] == ["a", "b"]
    with pytest.raises(ValueError, match="1 traces for 2 jobs"):
        drive_all([(noting("a"), Dialogue()), (noting("b"), Dialogue())], traces=[None])


def test_an_interrupt_while_driving_closes_all_conversations() -> None:
    closed = []

    def job(number: int) -> Talk[None]:
        try:
            yield Wait(100.0)
        finally:
            closed.append(number)

    def stop() -> int:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        drive_all([(job(1), Dialogue()), (job(2), Dialogue())], stop=stop)
    assert closed == [1, 2]


def test_ports_of_all_three_kinds_run_together() -> None:
    with EchoServer() as server:
        tcp = [TcpPort(server.url) for _ in range(3)]
        ports: list[Port] = [*tcp, EchoDialogue(0.05), Polled(0.003), Polled(0.001)]
        outcomes = drive_all([(echoes(b"0280: A9 00"), port) for port in ports])
        for port in ports:
            port.close()
    assert [outcome.value() for outcome in outcomes] == [b"0280: A9 00"] * len(ports)


def test_polled_ports_alone_are_slept_between() -> None:
    used, before = time.process_time(), time.monotonic()
    outcome = drive_all([(echoes(b"AB"), Polled(0.1))])[0]
    assert outcome.value() == b"AB"
    assert time.process_time() - used < 0.5 * (time.monotonic() - before)


def test_a_real_port_that_goes_away_leaves_the_others_running() -> None:
    def two_sides() -> tuple[Port, socket.socket]:
        listener = socket.create_server(("127.0.0.1", 0))
        port = TcpPort(f"socket://127.0.0.1:{listener.getsockname()[1]}")
        side, _ = listener.accept()
        listener.close()
        return port, side

    def last_words() -> Talk[list[object]]:
        events: list[object] = []
        while not events or not isinstance(events[-1], Lost):
            events.append((yield Wait(5.0)))
        return events

    port, side = two_sides()
    side.sendall(b"0280: A9")
    side.close()
    with EchoServer() as server:
        other = TcpPort(server.url)
        gone, well = drive_all([(last_words(), port), (echoes(b"0280"), other)])
        other.close()
    port.close()
    first, last = gone.value()[0], gone.value()[-1]
    assert isinstance(first, Received) and first.data == b"0280: A9"
    assert isinstance(last, Lost) and "closed the connection" in last.reason
    assert well.value() == b"0280"


def test_a_wish_to_stop_is_seen_at_once_on_a_real_port() -> None:
    """The wish must be seen within a slice although nothing ever comes."""
    asked_at = time.monotonic() + 0.05

    def patient() -> Talk[float]:
        event = yield Wait(30.0)
        assert isinstance(event, Cancelled)
        return event.at

    with EchoServer() as server:
        port = TcpPort(server.url)
        alone = drive(patient(), port, stop=lambda: int(time.monotonic() >= asked_at))
        asked_at = time.monotonic() + 0.05
        together = drive_all([(patient(), port)], stop=lambda: int(time.monotonic() >= asked_at))[0].value()
        port.close()
    assert alone < together < asked_at + 2.0


def test_waits_end_in_time_on_real_ports() -> None:
    def waits() -> Talk[list[float]]:
        ended = []
        for seconds in (0.0, 0.02, 0.07, 0.01):
            start = yield Note("start")
            event = yield Wait(seconds)
            assert isinstance(event, TimeUp)
            ended.append(event.at - start.at - seconds)
        return ended

    with EchoServer() as server:
        port = TcpPort(server.url)
        late = drive(waits(), port) + drive_all([(waits(), port)])[0].value()
        port.close()
    assert all(0 <= seconds < 1.0 for seconds in late), late


def test_sixty_four_boards_over_tcp_at_sixty_characters_a_second() -> None:
    """One thread must have most of its time left. The peers here echo from threads of their own."""

    def steady(keys: int) -> Talk[int]:
        start = yield Note("start")
        came = 0
        for number in range(keys):
            due = start.at + number / 60
            event = yield Send(b"A")
            while event.at < due + 1 / 60:
                event = yield Wait(due + 1 / 60 - event.at)
                came += len(event.data) if isinstance(event, Received) else 0
        while came < keys:
            event = yield Wait(5.0)
            assert isinstance(event, Received)
            came += len(event.data)
        return came

    with EchoServer() as server:
        ports = [TcpPort(server.url) for _ in range(64)]
        start, used = time.monotonic(), _thread_seconds()
        outcomes = drive_all([(steady(30), port) for port in ports])
        took, used = time.monotonic() - start, _thread_seconds() - used
        for port in ports:
            port.close()
    assert [outcome.value() for outcome in outcomes] == [30] * 64
    assert took < 5.0, f"30 keys at 60/s took {took:.2f} s"
    assert used < 0.75 * took, f"{used:.2f} s of processor time in {took:.2f} s"


def _thread_seconds() -> float:
    usage = resource.getrusage(resource.RUSAGE_THREAD)
    return usage.ru_utime + usage.ru_stime


def test_nobody_asks_to_stop_unless_somebody_does() -> None:
    assert never() == 0
    assert drive(echoes(b"A"), EchoDialogue(0.01), stop=never) == b"A"
