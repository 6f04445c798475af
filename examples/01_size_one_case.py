"""Size one relief case and print every step. The gas example of API 520-1 10E: 3699 mm2, letter P."""

from quietseat.basis import make
from quietseat.formula import Sheet
from quietseat.sizing import Request, size

case = Request(
    "gas", relieving_pressure=670e3, flow=24270 / 3600, molar_mass=0.051, k=1.11, temperature=348.0, Z=0.90
)  # SI inside: Pa absolute, kg/s, kg/mol, K

sheet = Sheet()
result = size(case, make(), sheet)

for step in sheet.steps():
    print(step.line())
print(f"{result.required_area * 1e6:.0f} mm2, {result.regime}, letter {result.orifice}")
