"""Reports as text, as JSON and on the terminal. Nothing else in linktool prints.

A report's text and JSON are registered with `text.lines` and `data.data` (single dispatch on its type).
Reports of the main job are registered there; those of other parts in a module of their own, named here
by the module that defines the report, and loaded when such a report is shown.
"""

from __future__ import annotations

import importlib

MODULES: dict[str, str] = {
    "linktool.bookkeeping": "linktool.render.bookkeeping",
    "linktool.jobs.diagnose": "linktool.render.diagnosis",
    "linktool.jobs.resume": "linktool.render.survey",
    "linktool.jobs.survey": "linktool.render.survey",
    "linktool.jobs.code": "linktool.render.code",
    "linktool.jobs.programs": "linktool.render.programs",
    "linktool.jobs.try_program": "linktool.render.programs",
    "linktool.jobs.screen": "linktool.render.talking",
    "linktool.jobs.setup": "linktool.render.setup",
    "linktool.jobs.several": "linktool.render.several",
    "linktool.jobs.sheet": "linktool.render.sheet",
    "linktool.jobs.talk": "linktool.render.talking",
    "linktool.jobs.type_text": "linktool.render.talking",
}
"""Module that defines reports -> module that renders them."""


def load_for(report: object) -> None:
    """See to it that the renderers of this report are registered."""
    module = MODULES.get(type(report).__module__)
    if module:
        importlib.import_module(module)
