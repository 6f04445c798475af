"""The mess of the demo register: cells as hurried people and spreadsheet programs leave them.

The numbers are those of docs/demo.md, which says what each trap is and what the program does about it.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

MAIN, CASES, LINES, HISTORY = "PSV list", "Relief cases", "Lines", "History"


@dataclass(frozen=True)
class Broken:
    """A formula that ends in an error."""

    formula: str
    error: str


Cells = dict[str, Any]
# (sheet, tag as written) -> column key -> what stands in the cell instead of the clean figure
CELLS: dict[tuple[str, str], Cells] = {
    # Sizes
    (MAIN, "20-PSV-2017"): {"designation": (100.0, "E")},  # 1
    (MAIN, "30-PSV-3023"): {"designation": datetime.date(2026, 4, 3)},  # 2
    (MAIN, "30-PSV-3020"): {"orifice": False, "temperature": "203 F"},  # 3, 31
    (MAIN, "30-PSV-3018"): {"rating": "3OO", "rate": "see note 3", "basis": "vendor", "op_temp": "N/A"},  # 4, 34
    (MAIN, "30-PSV-3012"): {"inlet_size": "J", "orifice": "2", "outlet_size": "3"},  # 5
    (MAIN, "10-PSV-1003"): {"designation": '4" P 6"', "rate": "5.7 MMSCFD"},  # 6, 32
    (MAIN, "10-PSV-1005"): {"designation": "4x6N"},  # 6
    (MAIN, "10-PSV-1006"): {"designation": "DN50 J DN80", "last_test": "03/04/2021"},  # 6, 28
    (MAIN, "10-PSV-1009"): {"designation": "6Q8 #150xRF", "last_test": "25/11/2020"},  # 6, 28
    (MAIN, "10-PSV-1011"): {"designation": "1½F2"},  # 6
    (MAIN, "20-PSV-2014"): {"designation": "1-1/2 H 3", "area": 506, "rated_k": 0.865},  # 6, 38
    (MAIN, "30-PSV-3019"): {"inlet_size": 40},  # 7
    # Pressures
    (MAIN, "10-PSV-1024"): {"set": "12.5 bar"},  # 8
    (MAIN, "10-PSV-1001"): {"set": "174 psig", "mawp": "174 psig"},  # 9
    (MAIN, "30-PSV-3013"): {"set": "10 (145)"},  # 10
    (MAIN, "20-PSV-2003A/B"): {"set": "17 / 16.5"},  # 11
    (MAIN, "20-PSV-2020"): {"op": "9.7 kg/cm2", "rate": "1,400"},  # 12, 33
    (MAIN, "30-PSV-3006"): {"set": 57, "cdtp": None},  # 13
    (MAIN, "10-PSV-1007"): {"set": "8,0", "op": "6,5"},  # 14
    (MAIN, "10-PSV-1010"): {"superimposed": "ATM"},  # 15
    # Rates, temperatures, other quantities
    (MAIN, "10-PSV-1019"): {"basis": None, "capacity": 9500},  # 16
    (MAIN, "10-PSV-1012"): {"op_temp": "AMB"},  # 31
    (MAIN, "30-PSV-3010"): {"rate": "960 Nm3/h"},  # 32
    (MAIN, "30-PSV-3011"): {"rate": "1200 SCFM"},  # 32
    (MAIN, "30-PSV-3009"): {"rate": "84 gpm", "serial": "SW20413"},  # 32, 27
    (MAIN, "30-PSV-3008"): {"rate": "26 000"},  # 33
    (MAIN, "10-PSV-1018"): {"rate": "TBC"},  # 34
    (MAIN, "10-PSV-1014"): {"type": "?"},  # 34
    (MAIN, "20-PSV-2018"): {"op": Broken("=#REF!*0.9", "#REF!")},  # 35
    (MAIN, "20-PSV-2004"): {"alarm": Broken("=12/0", "#DIV/0!")},  # 35
    (MAIN, "10-PSV-1021"): {"blowdown": (0.09, "%")},  # 36
    (LINES, "20-PSV-2004"): {"tag": "PSV-2004", "in_length": "400 mm"},  # 24, 37
    (LINES, "30-PSV-3017"): {"in_length": "7'-3\""},  # 37
    # Tags, dates, words
    (MAIN, "20-PSV-2016"): {"tag": "20-PSV-2016 (spare in store)"},  # 23
    (MAIN, "30-PSV-3005"): {"tag": "30\u2011PSV\u20113005"},  # 24
    (LINES, "20-PSV-2001"): {"tag": "20PSV2001"},  # 24
    (HISTORY, "20-PSV-2005"): {"tag": "20-PSV-02005"},  # 24
    (MAIN, "10-PSV-1017"): {"last_test": "TA2019", "dirty": "dirty"},  # 29
    (MAIN, "20-PSV-2005"): {"last_test": datetime.date(2024, 11, 26), "next_due": datetime.date(2023, 11, 26)},  # 30
    (MAIN, "30-PSV-3021"): {"remarks": "=SUM(A1:A9)"},  # 39
}  # fmt: skip
COMMENTS = {
    (MAIN, "20-PSV-2023", "tag"): "Shift book March 2025: weeping at the outlet drain",  # 21
    (MAIN, "10-PSV-1002A/B", "set"): "Read on the nameplate, 2 June 2025",
}
HIDDEN_ROWS = ("10-PSV-1011",)  # 20
# Rows that follow a tag: a repeated heading, rows without a tag, a second entry of the same tag.
EXTRA_ROWS: dict[str, tuple[Any, ...]] = {
    "10-PSV-1010": (
        {"tag": "10-PSV-1010", "equipment": "V-1010 (2019 list)", "fluid": "fuel gas", "type": "Conventional",
         "designation": "2J3", "rating": 150, "set": 7.5, "mawp": 7.5},
    ),  # 25
    "20-PSV-2012": ("headings",),  # 18
    "20-PSV-2024": (
        {"equipment": "V-2025 new drum", "fluid": "propane", "type": "Conventional", "designation": "1D2", "set": 14},
    ),  # 26
    "30-PSV-3024": (
        {"tag": "new PSV, tag later", "equipment": "V-3025 planned", "fluid": "nitrogen", "set": 8, "mawp": 8},
    ),  # 26
}  # fmt: skip
NOTES = (
    "Note 1: set pressures of unit 20 were taken over from the 2019 list.",
    "Note 3: the rate of 30-PSV-3018 is with the contractor.",
)  # 19
MENDS = (
    (MAIN, "20-PSV-2017", "designation", "1E2", "T. Arden (inspection)", "2026-04-02", "read on the nameplate"),
    (MAIN, "30-PSV-3006", "set_pressure", "62 barg", "M. Quill (relief engineer)", "2026-04-07",
     "the list holds the CDTP: 62 barg less 5 bar constant back pressure"),
    (MAIN, "30-PSV-3006", "cdtp", "57 barg", "M. Quill (relief engineer)", "2026-04-07", "moved from the set column"),
    (MAIN, "30-PSV-3019", "inlet_size", "DN 40", "T. Arden (inspection)", "2026-04-02", "measured in the field"),
)  # fmt: skip
