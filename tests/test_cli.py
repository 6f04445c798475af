"""The commands as a user types them: exit codes, one clear sentence, JSON of the contract."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from quietseat import demo


def quietseat(*words: str, stdin: str | None = None, timeout: float = 120) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "quietseat", *words], capture_output=True, text=True, input=stdin,
                          timeout=timeout, check=False)  # fmt: skip


def test_demo_writes_everything_and_names_ten_worst(tmp_path: Path) -> None:
    done = quietseat("demo", "--out", str(tmp_path / "out"))
    assert done.returncode == 0, done.stderr
    assert "The ten worst:" in done.stdout and " 10. " in done.stdout and "invented" in done.stdout
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert written >= {"study.json", "study.html", "study.pdf", "study.xlsx", "problems.csv"}


def test_the_version_is_told_as_option_and_as_command() -> None:
    from quietseat import __version__

    assert [quietseat(word).stdout.strip() for word in ("--version", "version")] == [__version__] * 2


def test_read_json_adds_up() -> None:
    answer = json.loads(quietseat("read", str(demo.files().register), "--json").stdout)
    assert answer["rows_found"] == answer["rows_read"] + answer["rows_partial"] + answer["rows_refused"]
    assert answer["valves_found"] == len(answer["valves"]) >= 60
    assert answer["status"] == "ok" and answer["columns"] and answer["problems"]


def test_read_from_standard_input() -> None:
    done = quietseat("read", "-", "--json", stdin="Tag,Set pressure (barg),Inlet size\nPSV-1,10,4 in\n")
    answer = json.loads(done.stdout)
    assert answer["rows_found"] == 1 and answer["valves"][0]["set_pressure_pa"]["value"] == pytest.approx(1101325.0)


def test_size_from_standard_input() -> None:
    case = 'method="gas"\nflow="24270 kg/h"\nmolar_mass=51\nk=1.11\ntemperature="348 K"\nZ=0.9\nrelieving_pressure="670 kPaa"\n'
    answer = json.loads(quietseat("size", "-", "--json", stdin=case).stdout)
    assert answer["required_area_m2"] == pytest.approx(3699e-6, rel=1e-3)
    keys = {"symbol", "name", "expression", "substituted", "value", "unit", "source"}
    assert all(step.keys() >= keys for step in answer["steps"])


@pytest.fixture(params=["empty", "text", "folder", "bomb", "headless", "missing"])
def unusable(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / f"{request.param}.xlsx"
    if request.param == "empty":
        path.write_bytes(b"")
    elif request.param == "text":
        path.write_text("this is no workbook", encoding="utf-8")
    elif request.param == "folder":
        path.mkdir()
    elif request.param == "bomb":
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
            file.writestr("[Content_Types].xml", "<Types/>")
            file.writestr("xl/worksheets/sheet1.xml", b"0" * 600_000_000)
    elif request.param == "headless":
        import openpyxl

        book = openpyxl.Workbook()
        for number in range(30):
            book.active.append([number, 2 * number, "words"])
        book.save(path)
    return path


@pytest.mark.parametrize("command", ["read", "study"])
def test_unusable_input_ends_in_one_sentence_and_code_2(command: str, unusable: Path, tmp_path: Path) -> None:
    out = ["--out", str(tmp_path / "o")] if command == "study" else []
    done = quietseat(command, str(unusable), *out, timeout=30)
    assert done.returncode == 2
    assert done.stdout == "" and len(done.stderr.strip().splitlines()) == 1
    assert done.stderr.startswith("quietseat: ") and "Traceback" not in done.stderr


def test_unknown_engine_and_bad_basis_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "b.toml"
    file.write_text('inlet_los_limit = "3 %"', encoding="utf-8")
    register = str(demo.files().register)
    assert quietseat("study", register, "--engine", "magic", "--out", str(tmp_path)).returncode == 2
    done = quietseat("study", register, "--basis", str(file), "--out", str(tmp_path))
    assert done.returncode == 2 and "nearest known choice is 'inlet_loss_limit'" in done.stderr


def test_checks_command_answers_the_contract() -> None:
    answer = json.loads(quietseat("checks", "--json").stdout)
    keys = {"name", "source", "page", "confidence", "expected", "tolerance", "obtained", "difference", "result"}
    assert answer["status"] == "ok" and all(check.keys() >= keys for check in answer["checks"])
    assert not [check["name"] for check in answer["checks"] if check["result"] == "fail"]


@pytest.mark.parametrize("words", [["bogus"], ["size"], ["size", "x.toml", "--jsn"]])
def test_wrong_commands_and_options_end_in_one_sentence(words: list[str]) -> None:
    done = quietseat(*words)
    assert done.returncode == 2 and done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1 and done.stderr.startswith("quietseat: ")


def test_a_folder_that_cannot_be_written_is_refused_before_anything_runs(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, not a folder", encoding="utf-8")
    for out in ("taken", "taken/below"):
        done = quietseat("study", str(demo.files().register), "--out", str(tmp_path / out), timeout=20)
        assert done.returncode == 2 and "cannot be written" in done.stderr and len(done.stderr.splitlines()) == 1


def test_terminal_text_keeps_to_a_hundred_columns(tmp_path: Path) -> None:
    case = ('method="liquid"\nkind="bellows"\nedition="7E"\nvolume_flow="1800 gpm"\nspecific_gravity=0.9\nviscosity="2000 SSU"\n'
            'set_pressure="250 psig"\noverpressure="10 %"\nback_pressure="50 psig"\n')  # fmt: skip
    text = quietseat("size", "-", stdin=case).stdout
    assert max(map(len, text.splitlines())) <= 100 and "orifice P" in text
    place = '[valve]\ntag="V"\nkind="conventional"\ndesignation="4P6"\nset_pressure="10 barg"\n[case]\nphase="gas"\n' \
            'flow="20000 kg/h"\nmolar_mass=44\nk=1.1\ntemperature="60 degC"\n[inlet]\nsize="4 in"\nlength="9 m"\n'  # fmt: skip
    text = quietseat("valve", "-", stdin=place).stdout
    assert max(map(len, text.splitlines())) <= 100 and "Assumed:" in text
