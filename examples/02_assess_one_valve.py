"""Assess one valve from a TOML file: verdict, cause, and what was assumed on the way."""

from pathlib import Path

from quietseat.assess import assess
from quietseat.casefile import read_valve

case = read_valve(str(Path(__file__).with_name("valve.toml")))
found = assess(case.location, case.basis)

print(f"{found.tag}: {found.verdict}. {found.cause}")
for finding in found.findings:
    print(f"  {finding.outcome:<5}{finding.severity:<5}{finding.code}: {finding.words}")
for assumption in found.assumptions:
    print(f"  assumed {assumption.field} = {assumption.value}: {assumption.rule}")
