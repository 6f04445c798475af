"""Imports go only downward, lazy ones included, and the light commands stay light."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent / "quietseat"

# Level by level, and inside a level in this order: a module imports only what stands before it.
ORDER = (
    "status", "amounts", "celltext", "formula", "unit_table", "units", "typeset", "tables",
    "fields", "model", "plain", "basis", "saved",
    "fluids", "sizing", "piping", "loads", "dynamics", "march", "emissions", "reliability", "economics", "catalogue",
    "register", "casefile", "leakage", "worklog", "assess", "remedies", "lifecycle", "upkeep", "cost", "planning", "questions",
    "predictions", "study", "changes", "verify", "walkdown", "checks", "answers", "what_if", "effects",
    "demo", "report", "store", "work", "web",
    "terminal", "terminal_money", "cli", "__main__",
)  # fmt: skip
HEAVY = ("numba", "CoolProp", "numpy", "scipy", "openpyxl", "typst", "vl_convert", "pydantic", "xlsxwriter")


def topic(path: Path) -> str:
    """The module or package of the first level a file belongs to."""
    first = path.relative_to(ROOT).parts[0]
    return first.removesuffix(".py")


def imported(path: Path) -> set[str]:
    """First-level topics of this package a file imports, anywhere in it."""
    out: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            parts = node.module.split(".")
            if parts[0] == "quietseat":
                out |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level:
            raise AssertionError(f"{path}: relative import; name the module in full")
        elif isinstance(node, ast.Import):
            out |= {alias.name.split(".")[1] for alias in node.names if alias.name.startswith("quietseat.")}
    return out


def files() -> list[Path]:
    return [path for path in sorted(ROOT.rglob("*.py")) if path != ROOT / "__init__.py"]


def test_every_module_has_its_place() -> None:
    assert {topic(path) for path in files()} <= set(ORDER)


def test_imports_go_only_downward() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files()
        for name in imported(path)
        if name in ORDER and name != topic(path) and ORDER.index(name) > ORDER.index(topic(path))
    ]
    assert wrong == []


def test_report_never_imports_engineering() -> None:
    engineering = set(ORDER[ORDER.index("fluids") : ORDER.index("catalogue")])
    wrong = [f"{path.name} imports {name}" for path in files() if topic(path) == "report" for name in imported(path) & engineering]
    assert wrong == []


def _module(imported_name: str, graph: dict[str, set[str]]) -> str:
    """The module behind "package.name": the name itself where it is a module, else what it is taken from."""
    if imported_name in graph:
        return imported_name
    parent = imported_name.rpartition(".")[0]
    return parent if parent in graph else ""


def test_no_cycles_inside_a_topic() -> None:
    """Modules of one package import one another without a cycle."""
    graph: dict[str, set[str]] = {}
    for path in files():
        name = ".".join(("quietseat", *path.relative_to(ROOT).with_suffix("").parts)).removesuffix(".__init__")
        edges = graph.setdefault(name, set())
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("quietseat."):
                edges |= {f"{node.module}.{alias.name}" for alias in node.names}
    graph = {name: {_module(edge, graph) for edge in edges} - {name, ""} for name, edges in graph.items()}
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, f"cycle: {' -> '.join((*path[path.index(name) :], name))}"
        if name not in done:
            for edge in graph[name]:
                visit(edge, (*path, name))
            done.add(name)

    for name in graph:
        visit(name, ())


def test_help_is_light() -> None:
    code = (
        "import sys; from typer.testing import CliRunner; from quietseat.cli import app\n"
        "result = CliRunner().invoke(app, ['--help']); assert result.exit_code == 0, result.output\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
