"""How one command ended on several boards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from linktool.errors import DONE


@dataclass(frozen=True)
class BoardResult:
    """One board: its report, or the error that kept it from having one, and the exit status of either."""

    label: str
    port: str
    machine: str
    exit_status: int
    report: Any = None
    error: str = ""


@dataclass(frozen=True)
class SeveralReport:
    """All boards, in the order they were named. The exit status is the worst: the highest."""

    command: str
    boards: tuple[BoardResult, ...]

    @property
    def exit_status(self) -> int:
        return max((board.exit_status for board in self.boards), default=DONE)

    @property
    def ok(self) -> bool:
        return self.exit_status == DONE
