"""Registers of any length for the benches: invented valves, drawn with a fixed seed."""

from __future__ import annotations

import random
from pathlib import Path

HEADINGS = (
    "Tag", "Service", "Type", "Inlet size", "Orifice", "Outlet size", "Inlet class", "Outlet class",
    "Set pressure barg", "MAWP barg", "Operating pressure barg", "Operating temperature degC", "Phase", "Cause",
    "Required flow kg/h", "MW", "k", "Z", "Relieving temperature degC", "Density kg/m3", "Rate basis", "Blowdown %",
    "Seat", "Inlet line size", "Inlet length m", "Inlet block valve", "Inlet elbows", "Outlet line size",
    "Outlet length m", "Outlet elbows", "Discharge to", "Superimposed back pressure max barg", "Vessel volume m3",
    "As found pop barg", "Condition", "Fouling", "Body material",
)  # fmt: skip
SIZES = (("D", 1, 2), ("E", 1, 2), ("F", 1.5, 2), ("G", 1.5, 3), ("H", 2, 3), ("J", 3, 4), ("K", 3, 4), ("L", 4, 6),
         ("M", 4, 6), ("N", 4, 6), ("P", 4, 6), ("Q", 6, 8))  # fmt: skip
AREAS = {"D": 71, "E": 126, "F": 198, "G": 325, "H": 506, "J": 830, "K": 1186, "L": 1841, "M": 2323, "N": 2800, "P": 4116, "Q": 7129}


def rows(count: int, seed: int = 7) -> list[list[object]]:
    """`count` rows under HEADINGS, with about a fifth of the cells of optional columns blank."""
    draw = random.Random(seed)
    out: list[list[object]] = []
    for number in range(count):
        letter, inlet, outlet = draw.choice(SIZES)
        gas = draw.random() < 0.75
        set_barg = round(draw.choice((4, 6, 8, 10, 12, 16, 18)) * draw.uniform(0.9, 1.1), 1)
        healthy = draw.random() < 0.5  # half the fleet stands on short lines and runs well below set
        operating = round(set_barg * (draw.uniform(0.6, 0.85) if healthy else draw.uniform(0.6, 0.97)), 1)
        # Gas: about 9.7 kg/h per mm2 and bar(a) for light hydrocarbons; liquid: square root of the difference.
        full = AREAS[letter] * (1.1 * set_barg + 1) * 1.6 if gas else AREAS[letter] * set_barg**0.5 * 33
        flare = draw.random() < 0.6
        out.append([
            f"PSV-{number:05d}", draw.choice(("fuel gas", "propane", "nitrogen")) if gas else "water",
            draw.choice(("conventional", "conventional", "conventional", "bellows")), inlet, letter, outlet, 300, 150,
            set_barg, round(set_barg * (1 if healthy else draw.choice((1, 1, 1.05, 0.97))), 2), operating, draw.randint(20, 120),
            "gas" if gas else "liquid", draw.choice(("fire", "blocked-outlet", "control-valve")),
            round(full * (draw.uniform(0.55, 0.9) if healthy else draw.uniform(0.05, 1.05)), 0) if draw.random() < 0.9 else None,
            round(draw.uniform(16, 58), 1) if gas else None, round(draw.uniform(1.08, 1.4), 2) if gas else None,
            round(draw.uniform(0.82, 1.0), 2) if gas else None, draw.randint(40, 160), None if gas else 950,
            draw.choice(("signed", "signed", "nameplate", None)), draw.choice((7, 7, 10, None)),
            draw.choice(("metal", "metal", "soft")), inlet, round(draw.uniform(0.2, 0.5) if healthy else draw.uniform(0.3, 8), 1) if draw.random() < 0.9 else None,
            "none" if healthy else draw.choice(("none", "gate", "ball", None)), 0 if healthy else draw.randint(0, 4), outlet,
            1 if healthy else round(draw.uniform(1, 30), 0), 0 if healthy else draw.randint(0, 5), "flare" if flare else "atmosphere",
            round(draw.uniform(0.05, 1.2), 2) if flare else None, round(draw.uniform(2, 80), 0),
            round(set_barg * (1 if healthy else draw.choice((1, 1.01, 0.93, 1.12, 1.4))), 1) if draw.random() < 0.4 else None,
            "ok" if healthy else draw.choice(("ok", "passing", "lapped & set", "seized", "", "", "")),
            draw.choice(("N", "N", "N", "Y", None)), draw.choice(("WCB", "CF8M")),
        ])  # fmt: skip
    return out


def write(path: Path, count: int, seed: int = 7) -> Path:
    """An .xlsx register of `count` rows."""
    import xlsxwriter

    book = xlsxwriter.Workbook(str(path), {"constant_memory": True})
    sheet = book.add_worksheet("PSV list")
    sheet.write_row(0, 0, ["Invented register for timing"])
    sheet.write_row(2, 0, HEADINGS)
    for at, row in enumerate(rows(count, seed), 3):
        sheet.write_row(at, 0, row)
    book.close()
    return path
