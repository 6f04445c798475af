"""The numbered examples run as they are printed, from any folder, and teach in a few lines."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parent.parent / "examples"
NUMBERED = sorted(EXAMPLES.glob("[0-9][0-9]_*.py"))


def output(name: str, folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, str(EXAMPLES / name)], cwd=folder, capture_output=True, text=True, timeout=400, encoding="utf-8"
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_all_five_are_there() -> None:
    assert [path.name[:2] for path in NUMBERED] == ["01", "02", "03", "04", "05"]


@pytest.mark.parametrize("path", NUMBERED, ids=lambda path: path.name)
def test_short_and_explained(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 25
    assert text.startswith('"""')
    assert not re.search(r"from quietseat[\w.]* import .*\b_\w+|import _", text), "uses the public names only"


def test_size_one_case(tmp_path: Path) -> None:
    # API 520-1 10E p. 75: 3698 mm2 printed, 3699 recomputed, letter P
    said = output("01_size_one_case.py", tmp_path)
    assert said.splitlines()[-1] == "3699 mm2, critical, letter P"
    assert "r_c = (2 / (k + 1)) ** (k / (k - 1))" in said


def test_assess_one_valve(tmp_path: Path) -> None:
    said = output("02_assess_one_valve.py", tmp_path)
    assert said.startswith("PSV-101: misfit. ")
    assert "oversized" in said and "assumed " in said


def test_read_a_register(tmp_path: Path) -> None:
    said = output("03_read_a_register.py", tmp_path)
    match = re.match(r"(\d+) rows = (\d+) read \+ (\d+) partial \+ (\d+) refused", said)
    assert match is not None
    rows, read, partial, refused = map(int, match.groups())
    assert rows >= 60 and rows == read + partial + refused


def test_study_a_register(tmp_path: Path) -> None:
    said = output("04_study_a_register.py", tmp_path)
    causes = re.findall(r"^\S+: (\S.+)$", said, re.M)
    assert len(causes) == 4 and said.count("cure: ") == 3 and "cure: None" not in said
    assert (tmp_path / "study.json").stat().st_size > 10_000


def test_own_basis(tmp_path: Path) -> None:
    first, second, refused = output("05_own_basis.py", tmp_path).splitlines()
    assert "oversized" in first and "oversized" not in second
    assert "oversize_utilization" in refused and "oversize_utilisation" in refused
