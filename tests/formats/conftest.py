"""The time an example takes depends on who else uses the computer: no deadline for hypothesis here."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("formats", settings.default, deadline=None)
settings.load_profile("formats")
