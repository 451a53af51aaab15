"""Save an image to a file the user named: what can be refused is refused before any work is done."""

from __future__ import annotations

import os
from dataclasses import dataclass

from formats import files, registry
from formats.image import Image
from linktool.errors import UsageError


@dataclass(frozen=True)
class Target:
    """Where an image will go. `replace`: a file that is there may be replaced."""

    path: str
    format: registry.Format
    replace: bool

    def save(self, image: Image) -> tuple[str, ...]:
        """Write it whole or not at all; what the format cannot hold, as sentences."""
        files.save(self.path, registry.write(image, self.format.name, source=self.path), force=self.replace)
        return registry.not_kept(image, self.format.name)


def target(path: str, format: str | None, replace: bool, option: str) -> Target:
    """UsageError or FormatError when `path` could not be written; `option` is what allows replacing."""
    chosen = registry.for_writing(path, format)
    if os.path.exists(path) and not replace:
        raise UsageError(f"{path} is there already", f"Choose another name, or allow it with {option}")
    folder = os.path.dirname(os.path.abspath(path))
    if not os.path.isdir(folder):
        raise UsageError(f"{path}: the folder {folder} is not there")
    return Target(path, chosen, replace)
