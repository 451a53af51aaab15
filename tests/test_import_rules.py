"""The house's layers: imports go one way, foreign libraries stay behind one file, the board stands apart."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# From the top of the house to the bottom: a module may import from its own row and the rows below it.
ROWS = (
    ("linktool.__main__",),
    ("linktool.cli", "linktool.shell"),
    ("linktool.verbs",),
    ("linktool.render",),
    ("linktool.commands", "linktool.bench", "linktool.sources", "linktool.arguments"),
    ("linktool.library",),
    ("linktool.jobs", "linktool.resident"),
    ("linktool.bench_log", "linktool.unfinished"),
    ("linktool.folders",),
    ("linktool.calibration",),
    ("linktool.waking",),
    ("linktool.conversation",),
    ("linktool.plan",),
    ("linktool.dialect", "linktool.pacing", "linktool.actions"),
    ("linktool.machine",),
    ("linktool.errors",),
    ("formats",),
)
FOREIGN = {
    "serial": {
        "linktool.serial_port",
        "linktool.serial_wire",
        "linktool.serial_refusal",
        "linktool.urlhandlers",
    },
    "prompt_toolkit": {"linktool.shell"},
    "intelhex": {"formats.intel_hex"},
    "Ophis": {"formats.assembler", "formats.assembler_passes", "formats.assembler_state"},
    "py65": {"linktool.board", "linktool.disassembly"},
    "platformdirs": {"linktool.folders", "linktool.port_lock"},
}


def modules() -> dict[str, Path]:
    found = {}
    for package in ("formats", "linktool"):
        for path in (ROOT / package).rglob("*.py"):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
            found[name] = path
    return found


def imports(path: Path) -> set[str]:
    """Every module a file imports, at the top or inside a function; not those for type checking only."""
    tree = ast.parse(path.read_text("utf-8"))
    skipped = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        for statement in node.body
        for inner in ast.walk(statement)
    }
    names: set[str] = set()
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def within(name: str, parent: str) -> bool:
    return name == parent or name.startswith(parent + ".")


def row_of(name: str) -> int | None:
    places = [
        (len(parent), number) for number, row in enumerate(ROWS) for parent in row if within(name, parent)
    ]
    return max(places)[1] if places else None


@pytest.mark.parametrize("name", sorted(name for name in modules() if row_of(name) is not None))
def test_imports_go_down_only(name):
    mine = row_of(name)
    assert mine is not None
    rows = {other: row_of(other) for other in imports(modules()[name])}
    upward = [other for other, row in rows.items() if row is not None and row < mine]
    assert not upward, f"{name} reaches up to {upward}"


@pytest.mark.parametrize("name", sorted(modules()))
def test_foreign_libraries_stay_behind_their_files(name):
    for library, homes in FOREIGN.items():
        if any(within(name, home) for home in homes):
            continue
        used = [other for other in imports(modules()[name]) if within(other, library)]
        assert not used, f"{name} imports {library}; only {sorted(homes)} may"


@pytest.mark.parametrize("name", sorted(name for name in modules() if within(name, "linktool.board")))
def test_the_board_shares_no_code_with_what_it_tests(name):
    barred = [f"linktool.{part}" for part in ("dialect", "plan", "pacing", "conversation", "jobs")]
    shared = [other for other in imports(modules()[name]) if any(within(other, parent) for parent in barred)]
    assert not shared


@pytest.mark.parametrize("name", sorted(name for name in modules() if within(name, "formats")))
def test_formats_know_nothing_of_linktool(name):
    assert not [other for other in imports(modules()[name]) if within(other, "linktool")]


@pytest.mark.parametrize("words", [["--help"], ["convert", "--help"], ["enter", "--help"]])
def test_help_loads_no_port_no_shell_and_no_processor(words):
    code = (
        "import sys\n"
        "from linktool.cli import main\n"
        "try: main(sys.argv[1:])\n"
        "except SystemExit: pass\n"
        "heavy = {'serial', 'prompt_toolkit', 'py65', 'Ophis', 'intelhex'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr


def test_convert_loads_no_port_no_shell_and_no_processor(tmp_path):
    (tmp_path / "a.hex").write_text(":0D00000048656C6C6F2C20576F726C640AA1\n:00000001FF\n")
    code = (
        "import sys\n"
        "from linktool.cli import main\n"
        "status = main(['convert', 'a.hex', 'b.bin'])\n"
        "heavy = {'serial', 'prompt_toolkit', 'py65', 'Ophis'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else status)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "b.bin").read_bytes() == b"Hello, World\n"
