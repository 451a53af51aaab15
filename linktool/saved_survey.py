"""A survey in a file, to be compared with a later one: before and after a card or a chip was fitted. Pure."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, get_args

from linktool.errors import UsageError
from linktool.page_states import Page, State

LARGEST = 1 << 20
_KIND = "linktool survey"


@dataclass(frozen=True)
class Saved:
    """What a file holds: of which machine, when, and its pages."""

    machine: str
    taken: datetime
    pages: tuple[Page, ...]


def to_text(saved: Saved) -> str:
    """The survey as JSON, a page a line."""
    head = json.dumps({"kind": _KIND, "machine": saved.machine, "taken": saved.taken.isoformat()})
    pages = [json.dumps(_page_facts(page)) for page in saved.pages]
    return head[:-1] + ', "pages": [\n' + ",\n".join(pages) + "\n]}\n"


def _page_facts(page: Page) -> dict[str, Any]:
    facts: dict[str, Any] = {"page": f"{page.number:02X}", "state": page.state}
    if page.of is not None:
        facts["of"] = f"{page.of:02X}"
    return facts


def parse(data: bytes, source: str) -> Saved:
    """What `to_text` made. UsageError, naming `source`, for anything else."""

    def wrong(why: object) -> UsageError:
        return UsageError(f"{source}: is no saved survey: {why}", "`linktool survey --save FILE` writes one")

    if len(data) > LARGEST:
        raise wrong(f"it is larger than {LARGEST} bytes")
    try:
        facts = json.loads(data)
        if facts["kind"] != _KIND or not isinstance(facts["machine"], str):
            raise ValueError("it does not say that it is one")
        pages = tuple(_page(each) for each in facts["pages"])
        return Saved(facts["machine"], datetime.fromisoformat(facts["taken"]), pages)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise wrong(error) from None


def _page(facts: dict[str, Any]) -> Page:
    number, state = int(facts["page"], 16), facts["state"]
    of = int(facts["of"], 16) if "of" in facts else None
    if state not in get_args(State) or not 0 <= number <= 0xFF or not 0 <= (of or 0) <= 0xFF:
        raise ValueError(f"page {facts['page']!r} with state {state!r}")
    return Page(number, state, of)


def changed(before: Sequence[Page], now: Sequence[Page]) -> tuple[tuple[Page, Page], ...]:
    """Pages that both surveys looked at and that answer differently, each as it was and as it is."""
    was = {page.number: page for page in before if page.state != "not probed"}
    return tuple(
        (was[page.number], page)
        for page in now
        if page.number in was and (page.state, page.of) != (was[page.number].state, was[page.number].of)
    )
