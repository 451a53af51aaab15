"""A port behind a server for serial ports: `rfc2217://host:port`, our own client of RFC 2217 over TcpPort.

Rate, frame, flow control and the DTR and RTS lines are asked for at opening, and every one must be confirmed;
what the profile leaves alone is not asked for. After that only data pass, and the server's "suspend" and
"resume" are obeyed. Numbers of options and commands are those of RFC 2217, telnet's are in telnet.py.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from linktool import telnet
from linktool.errors import PortError, PortLost
from linktool.frame import Frame, on_eight_bits, read_frame
from linktool.machine import Link
from linktool.tcp_port import TcpPort
from linktool.telnet import DO, DONT, SB, WILL, WONT, Command

if TYPE_CHECKING:
    from linktool.port_lock import PortLock

COM_PORT_OPTION = 44
SET_BAUDRATE, SET_DATASIZE, SET_PARITY, SET_STOPSIZE, SET_CONTROL = 1, 2, 3, 4, 5
FLOW_SUSPEND, FLOW_RESUME = 8, 9
FROM_SERVER = 100
PARITY = {"N": 1, "O": 2, "E": 3}
FLOW = {"none": 1, "xonxoff": 2, "rtscts": 3}
DTR = {True: 8, False: 9}
RTS = {True: 11, False: 12}

ANSWER_S = 5.0
WRITE_S = 5.0


class Rfc2217Port:
    """The Port contract over RFC 2217; connected and set when made. `lock` is released at close.

    PortError when there is no such server, when it does not speak RFC 2217, or refuses a setting.
    """

    real_time = True

    def __init__(
        self,
        url: str,
        link: Link,
        *,
        lock: PortLock | None = None,
        sleep: Callable[[float], None] = time.sleep,
        answer_s: float = ANSWER_S,
        write_s: float = WRITE_S,
    ) -> None:
        self.name = url
        self._answer_s, self._write_s = answer_s, write_s
        self._reader = telnet.TelnetReader()
        self._waiting = bytearray()
        self._agreed: set[tuple[int, int]] = set()
        self._refused: set[tuple[int, int]] = set()
        self._confirmed: dict[tuple[int, str], int] = {}
        self._suspended = False
        self._tcp = TcpPort(url, write_s=write_s)
        try:
            self._agree()
            self._frame = self._set_up(link)
            if link.settle_s > 0:
                sleep(link.settle_s)
        except PortLost as error:
            self._tcp.close()
            raise PortError(error.message, "See the server's own messages") from error
        except BaseException:
            self._tcp.close()
            raise
        self._lock = lock

    def now(self) -> float:
        return self._tcp.now()

    def fileno(self) -> int:
        """For waiting on many ports at once."""
        return self._tcp.fileno()

    def write(self, data: bytes) -> None:
        until = self.now() + self._write_s
        while self._suspended:
            came = self._tcp.read(until)
            self._take(came)
            if not came and self.now() >= until:
                raise PortLost(f"{self.name}: the server has held the line for {self._write_s:g} s")
        self._tcp.write(telnet.escaped(data.translate(self._frame.outgoing)))

    def read(self, until: float) -> bytes:
        while not self._waiting:
            came = self._tcp.read(until)
            if not came:
                return b""
            self._take(came)
        data, self._waiting = bytes(self._waiting), bytearray()
        return data.translate(self._frame.incoming)

    def close(self) -> None:
        self._tcp.close()
        if self._lock is not None:
            self._lock.release()

    # ---- opening ------------------------------------------------------------------------------------

    def _agree(self) -> None:
        """Telnet options: binary both ways, and the serial port option."""
        needed = {(DO, COM_PORT_OPTION), (DO, telnet.BINARY), (WILL, telnet.BINARY)}
        self._tcp.write(
            telnet.option(WILL, COM_PORT_OPTION)
            + telnet.option(WILL, telnet.BINARY)
            + telnet.option(DO, telnet.BINARY)
            + telnet.option(WILL, telnet.SUPPRESS_GO_AHEAD)
            + telnet.option(DO, telnet.SUPPRESS_GO_AHEAD)
        )
        self._await(lambda: needed <= self._agreed or bool(needed & self._refused))
        if not needed <= self._agreed:
            raise PortError(
                f"{self.name}: the server does not speak RFC 2217 (telnet for serial ports)",
                f"If it passes bytes on as they are, use socket://{self.name.partition('://')[2]}",
            )

    def _set_up(self, link: Link) -> Frame:
        frame = read_frame(link.frame)
        self._ask(SET_BAUDRATE, "", link.rate, f"the rate {link.rate}", size=4)
        same = on_eight_bits(link.frame)
        try:
            self._ask_frame(frame, link)
        except PortError:
            if same is None:
                raise
            frame = same
            self._ask_frame(frame, link)
        self._ask(SET_CONTROL, "flow", FLOW[link.flow], f"the flow control {link.flow}")
        if link.dtr is not None:
            self._ask(SET_CONTROL, "dtr", DTR[link.dtr], f"DTR {'on' if link.dtr else 'off'}")
        if link.rts is not None and link.flow != "rtscts":
            self._ask(SET_CONTROL, "rts", RTS[link.rts], f"RTS {'on' if link.rts else 'off'}")
        return frame

    def _ask_frame(self, frame: Frame, link: Link) -> None:
        what = f"the frame {link.frame}"
        self._ask(SET_DATASIZE, "", frame.data_bits, what)
        self._ask(SET_PARITY, "", PARITY[frame.parity], what)
        self._ask(SET_STOPSIZE, "", frame.stop_bits, what)

    def _ask(self, command: int, part: str, value: int, what: str, size: int = 1) -> None:
        """Ask for one setting and wait until the server has confirmed exactly it."""
        key = (command, part)
        self._confirmed.pop(key, None)
        said = bytes((command,)) + value.to_bytes(size, "big")
        self._tcp.write(telnet.advice(COM_PORT_OPTION, said))
        self._await(lambda: key in self._confirmed)
        found = self._confirmed.get(key)
        if found is None:
            raise PortError(f"{self.name}: the server did not confirm {what} within {self._answer_s:g} s")
        if found != value:
            raise PortError(
                f"{self.name}: the server does not set {what} (it answers {found})",
                "Change it in the profile's [link]",
            )

    def _await(self, done: Callable[[], bool]) -> None:
        until = self.now() + self._answer_s
        while not done() and self.now() < until:
            self._take(self._tcp.read(until))

    # ---- what comes in ------------------------------------------------------------------------------

    def _take(self, came: bytes) -> None:
        data, commands = self._reader.feed(came)
        self._waiting += data
        for command in commands:
            if command.verb == SB:
                self._take_advice(command)
            else:
                self._take_option(command)

    def _take_option(self, command: Command) -> None:
        """Note what the server agrees to; refuse what we did not offer. Refusals get no answer (RFC 854)."""
        verb, number = command.verb, command.option
        wanted = number in (telnet.BINARY, telnet.SUPPRESS_GO_AHEAD, COM_PORT_OPTION)
        if verb == WONT:
            self._refused.add((WILL, number))
        elif verb == DONT:
            self._refused.add((DO, number))
        elif not wanted:
            self._tcp.write(telnet.option(DONT if verb == WILL else WONT, number))
        elif verb == WILL and number == COM_PORT_OPTION:
            # Some servers offer the option instead of agreeing to ours.
            if (DO, number) not in self._agreed:
                self._tcp.write(telnet.option(DO, number))
            self._agreed.add((DO, number))
        else:
            self._agreed.add((verb, number))

    def _take_advice(self, command: Command) -> None:
        if command.option != COM_PORT_OPTION or not command.said:
            return
        kind, value = command.said[0], int.from_bytes(command.said[1:5], "big")
        if kind in (FLOW_SUSPEND, FLOW_SUSPEND + FROM_SERVER):
            self._suspended = True
        elif kind in (FLOW_RESUME, FLOW_RESUME + FROM_SERVER):
            self._suspended = False
        elif kind == SET_CONTROL + FROM_SERVER:
            part = (
                "flow"
                if value <= 3
                else "dtr"
                if value in DTR.values()
                else "rts"
                if value in RTS.values()
                else "?"
            )
            self._confirmed[(SET_CONTROL, part)] = value
        elif kind > FROM_SERVER:
            self._confirmed[(kind - FROM_SERVER, "")] = value
