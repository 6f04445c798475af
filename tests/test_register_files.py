"""What kind of file a register may be: encodings, separators, comments, hidden rows, and files refused as a whole."""

from __future__ import annotations

import io
import time
import zipfile
from pathlib import Path

import pytest
from registers import make

from quietseat import basis
from quietseat.register import read
from quietseat.status import InputUnusable

BASIS = basis.make()
ROWS = [make.HEADINGS, make.one(), make.one(tag="PSV-102")]


def refused(path: Path) -> str:
    started = time.perf_counter()
    with pytest.raises(InputUnusable) as caught:
        read(path, BASIS)
    assert time.perf_counter() - started < 5.0
    text = str(caught.value)
    assert text.count("\n") == 0 and text.endswith(".") and len(text) > 15
    return text


def test_missing_file(tmp_path: Path) -> None:
    assert "cannot be read" in refused(tmp_path / "none.xlsx")


def test_folder(tmp_path: Path) -> None:
    assert "folder" in refused(tmp_path)


@pytest.mark.parametrize("name", ["empty.xlsx", "empty.csv", "empty.ods", "blank.csv"])
def test_empty_file(tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    file.write_bytes(b" \r\n\r\n" if name == "blank.csv" else b"")
    assert "empty" in refused(file)


def test_text_named_xlsx(tmp_path: Path) -> None:
    file = tmp_path / "list.xlsx"
    file.write_text("Tag,Set pressure (barg)\nPSV-1,10\n")
    assert "not a workbook" in refused(file)


def test_damaged_workbook(tmp_path: Path) -> None:
    file = make.xlsx(tmp_path / "a.xlsx", {"PSV": ROWS})
    file.write_bytes(file.read_bytes()[:-600])
    assert "damaged" in refused(file)


def test_other_zip(tmp_path: Path) -> None:
    file = tmp_path / "a.xlsx"
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("notes.txt", "hello")
    assert "without a workbook" in refused(file)


@pytest.mark.parametrize("part", ["xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"])
def test_zip_bomb_of_one_part(tmp_path: Path, part: str) -> None:
    file = make.xlsx(tmp_path / "a.xlsx", {"PSV": ROWS})
    with zipfile.ZipFile(file, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(part + ".bin", b"0" * 60_000_000)
    assert "zip bomb" in refused(file)


def test_zip_bomb_of_many_parts(tmp_path: Path) -> None:
    file = tmp_path / "a.xlsx"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        for number in range(80):
            archive.writestr(f"xl/media/{number}.bin", b"0" * 4_000_000)
    assert "zip bomb" in refused(file)


def test_entity_bomb(tmp_path: Path) -> None:
    file = make.xlsx(tmp_path / "a.xlsx", {"PSV": ROWS})
    out = io.BytesIO()
    with zipfile.ZipFile(file) as source, zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            data = source.read(name)
            if name == "xl/workbook.xml":
                data = data.replace(b"<workbook", b'<!DOCTYPE x [<!ENTITY a "b">]><workbook', 1)
            target.writestr(name, data)
    file.write_bytes(out.getvalue())
    assert "document type" in refused(file)


def test_encrypted_workbook(tmp_path: Path) -> None:
    file = tmp_path / "a.xlsx"
    file.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le") + b"\0" * 600)
    assert "password" in refused(file)


def test_damaged_xls(tmp_path: Path) -> None:
    file = tmp_path / "a.xls"
    file.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 2000)
    assert "damaged" in refused(file)


def test_binary_named_csv(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_bytes(bytes(range(256)) * 40)
    assert "neither a workbook nor text" in refused(file)


def test_sheet_without_header(tmp_path: Path) -> None:
    text = refused(make.csv(tmp_path / "a.csv", [["PSV-1", "10", "x"], ["PSV-2", "12", "y"]]))
    assert "headings" in text and "tag" in text and "set pressure" in text
    assert "headings" in refused(make.xlsx(tmp_path / "a.xlsx", {"A": [["red", "green"], [1, 2]], "B": [["nothing"]]}))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_csv_encoding_and_separator(tmp_path: Path, encoding: str, mark: str) -> None:
    rows = [make.HEADINGS, make.one(fluid="Propène, über 3 %"), make.one(tag="PSV-102", set_pressure="9,5" if mark == ";" else 9.5)]
    found = read(make.csv(tmp_path / "a.csv", rows, mark=mark, encoding=encoding), BASIS)
    assert found.rows_read == 2
    assert found.locations[0].cases[0].fluid == "Propène, über 3 %"
    assert found.locations[1].valve.set_pressure == pytest.approx(101325 + 9.5e5)
    assert any("encoding" in p.rule for p in found.problems) == (encoding in ("cp1252", "utf-16-le"))


def test_csv_line_that_names_the_separator(tmp_path: Path) -> None:
    file = make.csv(tmp_path / "a.csv", ROWS, mark=";")
    file.write_bytes(b"sep=;\r\n" + file.read_bytes())
    found = read(file, BASIS)
    assert found.rows_read == 2
    assert found.locations[0].row == 3  # as the file counts its lines


def test_csv_on_standard_input(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    data = make.csv(tmp_path / "a.csv", ROWS).read_bytes()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(data)))
    assert read("-", BASIS).valves_found == 2


def test_ods(tmp_path: Path) -> None:
    found = read(make.ods(tmp_path / "a.ods", "PSV", ROWS), BASIS)
    assert (found.rows_read, found.valves_found) == (2, 2)
    assert found.locations[0].valve.set_pressure == pytest.approx(101325 + 10e5)
    assert any("error looks blank" in problem.rule for problem in found.problems)


def test_error_cells_are_kept(tmp_path: Path) -> None:
    found = read(make.xlsx(tmp_path / "a.xlsx", {"PSV": [make.HEADINGS, make.one(set_pressure=make.Error("#DIV/0!"))]}), BASIS)
    assert found.rows_partial == 1 and found.locations[0].valve.set_pressure is None
    assert [p.value for p in found.problems if p.field == "set_pressure"] == ["#DIV/0!"]


def test_formula_without_a_stored_result(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    book.active.append(make.HEADINGS)
    book.active.append(make.one(set_pressure="=5+5"))
    book.save(tmp_path / "a.xlsx")
    found = read(tmp_path / "a.xlsx", BASIS)
    assert found.rows_partial == 1
    assert any("stored result" in p.rule and p.field == "set_pressure" and p.column == "G" for p in found.problems)


def test_hidden_rows_and_columns_are_reported_and_read(tmp_path: Path) -> None:
    file = make.xlsx(tmp_path / "a.xlsx", {"PSV": ROWS}, hidden_rows=[("PSV", 2)], hidden_columns=[("PSV", 7)])
    found = read(file, BASIS)
    assert found.sheets[0].hidden_rows == (3,) and found.sheets[0].hidden_columns == ("H",)
    assert found.rows_found == 2 and found.locations[1].vessel.mawp is not None
    assert sum("hidden" in problem.rule for problem in found.problems) == 2


def test_comments_are_kept_as_remarks(tmp_path: Path) -> None:
    file = make.xlsx(tmp_path / "a.xlsx", {"PSV": ROWS}, comments={("PSV", 2, 6): "Bellow gone, see file"})
    found = read(file, BASIS)
    assert any("Bellow gone" in remark for remark in found.locations[1].remarks)
    assert [event.event for event in found.locations[1].history.events] == ["bellows"]
    assert found.locations[0].remarks == ()


def test_colour_as_status_is_named(tmp_path: Path) -> None:
    import openpyxl
    from openpyxl.styles import PatternFill

    book = openpyxl.Workbook()
    for row in (make.HEADINGS, *(make.one(tag=f"PSV-{n}") for n in range(101, 106))):
        book.active.append(row)
    book.active["A4"].fill = PatternFill("solid", fgColor="FFFF00")
    book.save(tmp_path / "a.xlsx")
    found = read(tmp_path / "a.xlsx", BASIS)
    assert [p.rule for p in found.problems] == [
        "the tags of some rows are coloured (#FFFF00 in rows 4); what a colour means is not read"
    ]
    assert found.rows_read == 5


def test_number_format_shows_the_unit(tmp_path: Path) -> None:
    rows = [[*make.HEADINGS[:6], "Set pressure", *make.HEADINGS[7:]], make.one(set_pressure=make.Styled(145.0, '0.0" psig"'))]
    found = read(make.xlsx(tmp_path / "a.xlsx", {"PSV": rows}), BASIS)
    assert found.locations[0].valve.set_pressure == pytest.approx(101325 + 145 * 6894.757293168, rel=1e-9)


def test_per_cent_format(tmp_path: Path) -> None:
    rows = [[*make.HEADINGS, "Blowdown"], [*make.one(), make.Styled(0.07, "0%")]]
    found = read(make.xlsx(tmp_path / "a.xlsx", {"PSV": rows}), BASIS)
    assert found.locations[0].valve.blowdown == pytest.approx(0.07)
