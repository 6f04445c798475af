"""Read a messy register: every row is read, partial or refused, and every doubt says how to mend it."""

from quietseat import demo
from quietseat.basis import make
from quietseat.register import read

files = demo.files()
found = read(files.register, make(), files.mends)

print(f"{found.rows_found} rows = {found.rows_read} read + {found.rows_partial} partial + {found.rows_refused} refused")
print(f"{found.valves_found} valves, {len(found.problems)} problems; the first three:")
for problem in found.problems[:3]:
    print(f"  {problem.sentence()}")
