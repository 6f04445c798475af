"""A site's own rows of the tables of prices: used where stated, refused with file, line and rule where they cannot be."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from quietseat import basis as bases
from quietseat import economics, tables
from quietseat.economics.own import KEYS, RANGE, fingerprint, price_table
from quietseat.model import Valve
from quietseat.status import InputUnusable


def folder(tmp_path: Path, **files: str) -> str:
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return str(tmp_path)


def test_every_table_of_prices_can_be_changed() -> None:
    for name, keys in KEYS.items():
        held = tables.table(name)
        assert set((*keys, *RANGE)) <= set(held.columns)
        named = [tuple(row[key] for key in keys) for row in held]
        assert len(set(named)) == len(named), name


def test_own_rows_replace_the_packaged_ones(tmp_path: Path) -> None:
    """A spool at 100/200/300; a spring valve NPS 4 at 5000; a shop test up to NPS 4 at 700; all else as packaged."""
    own = folder(
        tmp_path, remedy_costs="item,low,mid,high\nspool,100,200,300\n", spring_prices="inlet,low,mid,high,note\n4,5000,5000,5000,quote\n",
        maintenance_costs="item,size_up_to,low,mid,high\nshop-test,4,700,700,700\n",
    )  # fmt: skip
    basis, plain = bases.make({"price_tables": own}), bases.make()
    spool = economics.priced("spool", basis)
    assert (spool.money.low, spool.money.mid, spool.money.high) == (100, 200, 300)
    assert "site" in spool.source and "remedy_costs.csv line 2" in spool.source and "seen" in spool.source
    assert economics.priced("filter", basis) == economics.priced("filter", plain)
    valve = Valve(kind="conventional", inlet_size=4.0, inlet_class=150)
    assert economics.new_valve(valve, basis).mid == 5000
    assert economics.new_valve(valve, plain).mid == 13000
    assert economics.overhaul(valve, basis).mid == pytest.approx((700 + 950) / 5)
    assert economics.overhaul(Valve(kind="conventional", inlet_size=2.0), basis) == economics.overhaul(
        Valve(kind="conventional", inlet_size=2.0), plain
    )


def test_price_factor_applies_to_own_prices_too(tmp_path: Path) -> None:
    own = folder(tmp_path, remedy_costs="item,low,mid,high\nspool,100,200,300\n")
    assert economics.priced("spool", bases.make({"price_tables": own, "price_factor": "0.9"})).money.mid == pytest.approx(180)


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({}, "holds no CSV file"),
        ({"prices": "item,low,mid,high\n"}, "prices.csv: is no table of prices; the tables are remedy_costs"),
        ({"remedy_costs": "item,low,high\nspool,1,2\n"}, "no column 'mid'; the columns are item, low, mid, high"),
        ({"remedy_costs": "item,low,mid,high,vendor\nspool,1,2,3,x\n"}, "unknown column 'vendor'"),
        ({"remedy_costs": "item,low,mid,high\nspoool,1,2,3\n"}, "line 2: table remedy_costs has no row item 'spoool'; item is one of"),
        ({"remedy_costs": "item,low,mid,high\nspool,1,two,3\n"}, "mid = 'two': must be a number, not negative"),
        ({"remedy_costs": "item,low,mid,high\nspool,-1,2,3\n"}, "low = '-1': must be a number, not negative"),
        ({"remedy_costs": "item,low,mid,high\nspool,1,nan,3\n"}, "must be a number"),
        ({"remedy_costs": "item,low,mid,high\nspool,3,2,1\n"}, "low 3, mid 2, high 1: must not fall"),
        ({"remedy_costs": "item,low,mid,high\nspool,1,2,3\nspool,1,2,3\n"}, "line 3: the row item 'spool' stands there twice"),
        ({"work_hours": "item,size,low,mid,high\nweld,5,1,2,3\n"}, "size is one of 3, 4, 6"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_named(tmp_path: Path, files: dict[str, str], words: str) -> None:
    with pytest.raises(InputUnusable) as told:
        price_table("remedy_costs", folder(tmp_path, **files))
    assert words in str(told.value)


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    own = folder(tmp_path, remedy_costs="item,low,mid,high\nspoool,1,2,3\nspool,3,2,1\n", wrong="a\n")
    with pytest.raises(InputUnusable) as told:
        price_table("remedy_costs", own)
    assert all(word in str(told.value) for word in ("spoool", "must not fall", "wrong.csv"))


def test_a_folder_that_is_none_is_named() -> None:
    with pytest.raises(InputUnusable, match="price_tables = 'nowhere': is not a folder"):
        price_table("spring_prices", "nowhere")


def test_the_fingerprint_follows_names_and_bytes_of_the_csv_files(tmp_path: Path) -> None:
    """By hand: SHA-256 of each name and content behind its length as eight bytes, in the order of the names."""
    assert fingerprint("") == ""
    text = "item,low,mid,high\nspool,1,2,3\n"
    own = folder(tmp_path, remedy_costs=text)
    pieces = (b"remedy_costs.csv", text.encode())
    assert fingerprint(own) == hashlib.sha256(b"".join(len(piece).to_bytes(8, "big") + piece for piece in pieces)).hexdigest()
    before = fingerprint(own)
    (tmp_path / "read me.txt").write_text("no table", encoding="utf-8")
    assert fingerprint(own) == before
    folder(tmp_path, lifecycle="item,low,mid,high\n")
    more = fingerprint(own)
    folder(tmp_path, remedy_costs=text.replace("3", "4"))
    assert len({before, more, fingerprint(own)}) == 3
    with pytest.raises(InputUnusable, match="is not a folder"):
        fingerprint("nowhere")
