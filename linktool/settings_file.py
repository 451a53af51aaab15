"""settings.toml with another port or machine, all else in it left as it stands. Pure: text in, text out."""

from __future__ import annotations

import json
import re


def with_settings(text: str, **changes: str) -> str:
    """`text` with each of `changes` as a line `name = "value"`, in its old place where it had one."""
    lines = text.splitlines()
    for name, value in changes.items():
        # A JSON string is a TOML basic string too (TOML 1.0.0, section String).
        line = f"{name} = {json.dumps(value, ensure_ascii=False)}"
        place = next(
            (at for at, old in enumerate(lines) if re.match(rf"\s*{re.escape(name)}\s*=", old)), None
        )
        if place is None:
            lines.append(line)
        else:
            lines[place] = line
    return "\n".join(lines) + "\n"
