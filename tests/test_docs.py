"""The pages are current, their links lead somewhere, every formula is printed once, every public name is explained."""

from __future__ import annotations

import ast
import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from quietseat import formula

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
LINK = re.compile(r"(?<!!)\[[^\]]*\]\(([^)\s]+)\)|!\[[^\]]*\]\(([^)\s]+)\)|<img[^>]+src=\"([^\"]+)\"")


@pytest.fixture(scope="module")
def make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_make", DOCS / "make.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def pages(make: ModuleType) -> dict[Path, str]:
    made: dict[Path, str] = make.pages()
    return made


def test_pages_are_current(pages: dict[Path, str]) -> None:
    if "| skipped" in pages[DOCS / "checks.md"]:
        pages = {path: text for path, text in pages.items() if path.name != "checks.md"}
    old = [path.name for path, text in pages.items() if not path.exists() or path.read_text(encoding="utf-8") != text]
    assert old == [], "run: uv run python docs/make.py"


def test_the_same_pages_again(make: ModuleType, pages: dict[Path, str]) -> None:
    assert make.pages() == pages


def test_every_formula_is_printed_once(make: ModuleType) -> None:
    make.import_all()
    marks = [name for path in (DOCS / "method").glob("*.md") for match in make.BLOCK.findall(path.read_text(encoding="utf-8"))
             for name in match[1].split()]  # fmt: skip
    modules = [module for mark in marks for module in make.modules_of(mark)]
    held = {name.rpartition(".")[0] for name in formula.registered() if name.startswith("quietseat.")}
    assert sorted(modules) == sorted(held)


def test_a_mark_without_formulas_is_refused(make: ModuleType) -> None:
    with pytest.raises(ValueError, match="no formula"):
        make.of_topic("quietseat.status")


def test_obtained_values_hold_no_digits_beyond_the_tolerance(make: ModuleType) -> None:
    check = {
        "name": "n", "source": "s", "page": "p", "confidence": "seen", "unit": "in2", "expected": 4.93, "tolerance": 0.01479,
        "obtained": 4.934514350590684, "result": "pass",
    }  # fmt: skip
    assert make._check(check)[4:] == ["4.93 in2", "0.015", "4.93", "pass"]


def _anchors(text: str) -> set[str]:
    titles = re.findall(r"^#+ (.+)$", text, re.M)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


def _links() -> list[tuple[Path, str]]:
    files = [ROOT / "README.md", *sorted(DOCS.rglob("*.md"))]
    return [(path, next(part for part in match if part)) for path in files for match in LINK.findall(path.read_text(encoding="utf-8"))]


def test_links_lead_somewhere() -> None:
    wrong = []
    for path, link in _links():
        target, _, anchor = link.partition("#")
        if re.match(r"[a-z]+:", target):
            continue
        file = (path.parent / target).resolve() if target else path
        if not file.exists():
            wrong.append(f"{path.relative_to(ROOT)}: {link}")
        elif anchor and file.suffix == ".md" and anchor not in _anchors(file.read_text(encoding="utf-8")):
            wrong.append(f"{path.relative_to(ROOT)}: {link} has no such heading")
    assert wrong == []


def _public(path: Path) -> list[str]:
    """Public functions, classes and methods of a module that have no docstring."""
    out = []
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if ast.get_docstring(tree) is None and any(not isinstance(node, ast.Pass) for node in tree.body):
        out.append(f"{path.relative_to(ROOT)}: module")
    for node in tree.body:
        if not isinstance(node, (ast.FunctionDef, ast.ClassDef)) or node.name.startswith("_"):
            continue
        inner = node.body if isinstance(node, ast.ClassDef) else []
        protocol = isinstance(node, ast.ClassDef) and any(getattr(b, "id", "") == "Protocol" for b in node.bases)
        methods = [] if protocol else [m for m in inner if isinstance(m, ast.FunctionDef) and not m.name.startswith("_")]
        out += [
            f"{path.relative_to(ROOT)}:{one.lineno} {one.name}" for one in (node, *methods) if ast.get_docstring(one) is None
        ]
    return out


def test_every_public_name_has_a_docstring() -> None:
    assert [name for path in sorted((ROOT / "quietseat").rglob("*.py")) for name in _public(path)] == []
