"""Study a register: verdicts, causes, cures and a plan; the worst three, and the same as study.json."""

import sys
from pathlib import Path

from quietseat import demo
from quietseat.basis import load
from quietseat.study import run

if __name__ == "__main__":  # a large register is shared out over processes
    files = demo.files()
    study = run(files.register, load(files.basis), files.mends)
    for record in study.ranked()[:3]:
        print(f"{record.tag}: {record.summary['cause']}")
        print(f"  cure: {record.summary['recommended_title']} ({record.summary['clears']})")
    print(f"plan: {len(study.head['plan']['chosen'])} valves")
    study.write_json(Path(sys.argv[1] if len(sys.argv) > 1 else "study.json"))
