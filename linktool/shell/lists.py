"""The lists that completion offers from: ports, machines, programs, symbols, ranges, areas.

Each is made when it is first asked for, and kept for FRESH_S. No port is opened for any of them.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from linktool.arguments import Kind, Known, MachineName, PortName
from linktool.bench import Bench
from linktool.errors import LinktoolError
from linktool.machine import available as machines_there
from linktool.shell.memory import InHand

FRESH_S = 5.0


class Lists:
    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._made: dict[str, tuple[float, tuple[str, ...]]] = {}

    def known(self, kind: Kind, hand: InHand | None) -> Known:
        """What an argument of this kind can be completed from."""
        bench = self._bench
        if isinstance(kind, PortName):
            return Known(ports=(*self._fresh("ports", _ports), "board:"))
        if isinstance(kind, MachineName):
            machines = self._fresh("machines", lambda: tuple(machines_there(bench.folders.machines)))
            return Known(machines=machines)
        programs = self._fresh("programs", lambda: _programs(bench))
        try:
            machine = bench.machine
        except LinktoolError:
            return Known(programs=programs)
        held = [segment.range for segment in hand.image.segments] if hand else []
        areas = [area.range for area in machine.areas]
        return Known(
            programs=programs,
            symbols=tuple(sorted(machine.symbols)),
            ranges=tuple(dict.fromkeys(str(each) for each in (*held, *areas))),
            areas=machine.area_names(),
        )

    def _fresh(self, name: str, make: Callable[[], tuple[str, ...]]) -> tuple[str, ...]:
        made_at, found = self._made.get(name, (float("-inf"), ()))
        now = time.monotonic()
        if now - made_at > FRESH_S:
            found = make()
            self._made[name] = (now, found)
        return found


def _programs(bench: Bench) -> tuple[str, ...]:
    from linktool.library import available

    return tuple(available(bench.folders.programs))


def _ports() -> tuple[str, ...]:
    from linktool.ports import list_ports

    return tuple(port.device for port in list_ports())
