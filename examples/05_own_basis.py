"""Choices are yours: the same valve against two bases. A name that is no choice is refused."""

from pathlib import Path

from quietseat.assess import assess
from quietseat.basis import make
from quietseat.casefile import read_valve
from quietseat.status import InputUnusable

location = read_valve(str(Path(__file__).with_name("valve.toml"))).location

for choices in ({}, {"oversize_utilisation": "10 %", "inlet_loss_limit": "5 %"}):
    found = assess(location, make(choices))
    print(f"{choices or 'as it comes'}: {found.verdict}, {', '.join(f.code for f in found.findings if f.outcome == 'fail')}")

try:
    make({"oversize_utilization": "10 %"})
except InputUnusable as refused:
    print(refused)
