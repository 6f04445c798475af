"""What changed between two studies: verdicts, findings, numbers, remedies and plan, choices of the Basis, inputs, valves.

Valves are matched by tag, the n-th of a tag with the n-th. Both studies are read valve by valve, and a valve whose content is
the same byte by byte is never unpacked, so that 10,000 valves take seconds and little memory.
"""

from __future__ import annotations

import hashlib
import json
import re
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from quietseat.saved import SCHEMA
from quietseat.status import InputUnusable
from quietseat.study import Record, Study

TOLERANCE = 0.01  # of the larger of two numbers: a number that moved less is not told
KINDS = ("verdict", "finding", "number", "remedy", "plan", "choice", "input", "valve")
_PLACE = ',"rank":'  # where the place of a valve in its fleet begins: it may move though nothing of the valve changed
_TAG = re.compile(r'\{\s*"tag"\s*:\s*')

# Numbers of a valve that are compared: path, words, unit as in steps.
_NUMBERS = (
    ("valve.set_pressure_pa", "set pressure", "Pa(a)"), ("vessel.mawp_pa", "MAWP", "Pa(a)"),
    ("vessel.operating_pressure_pa", "operating pressure", "Pa(a)"), ("vessel.volume_m3", "volume protected", "m**3"),
    ("stability.inlet_length_m", "inlet length", "m"), ("stability.critical_length_m", "critical inlet length", "m"),
    ("stability.force_balance_used_pa", "pressure lost as the valve pops", "Pa"), ("chatter.probability", "probability of chatter", "fraction"),
    ("leakage.product_kg_a.mid", "product lost in a year", "kg"), ("leakage.co2e_kg_a.mid", "CO2 equivalent of a year", "kg"),
    ("money.npv.mid", "net present value of the recommended remedy", "money"),
)  # fmt: skip
_CASE_NUMBERS = (
    ("required_flow_kg_s", "required flow", "kg/s"), ("rated_flow_kg_s", "rated flow", "kg/s"), ("utilisation", "required over rated flow", "fraction"),
    ("required_area_m2", "required area", "m**2"), ("inlet_loss_rated", "inlet loss of set at rated flow", "fraction"),
    ("built_up_pa", "built-up back pressure at rated flow", "Pa"), ("back_pressure_pa", "total back pressure", "Pa(a)"),
)  # fmt: skip
_PLAN_NUMBERS = (
    ("budget", "budget", "money"), ("value", "net value of the plan", "money"), ("totals.spent", "cost of the plan, middle", "money"),
    ("totals.hours", "crew hours of the plan", "h"), ("totals.count", "valves in the plan", ""),
    ("totals.stop_findings_cured", "stop findings cured", ""), ("totals.stop_findings_left", "stop findings left", ""),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """One valve of a study. mark: equal for equal content; place: rank and plan; load: the valve's dict, steps may be left out."""

    tag: str
    mark: bytes
    place: Mapping[str, Any]
    load: Callable[[], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Side:
    """One of two studies: everything of study.json but the valves, and these one by one in register order."""

    head: Mapping[str, Any]
    entries: Iterable[Entry]


# --- The two sides ---------------------------------------------------------------------------------------------------


def of_study(study: Study) -> Side:
    """A study in memory as one side."""
    return Side(study.head, map(entry, study.records))


def entry(record: Record) -> Entry:
    """A record of a study; its steps are left aside, they follow from its numbers."""
    return Entry(record.tag, _mark(record.packed), record.place, partial(_unpacked, record.packed, record.place))


def _unpacked(packed: bytes, place: Mapping[str, Any]) -> Mapping[str, Any]:
    return {**json.loads(zlib.decompress(packed)), **place}


def of_file(path: str | Path) -> Side:
    """A study.json as one side, read line by line. Raises InputUnusable where the file is no study of this tool."""
    file = Path(path)
    try:
        with open(file, encoding="utf-8") as lines:
            first = lines.readline()
        if first.endswith('"valves":[\n'):
            head = json.loads(first.rstrip()[: -len(',"valves":[')] + "}")
            entries: Iterable[Entry] = _lines(file)
        else:  # written by another tool: whole
            head = json.loads(file.read_text(encoding="utf-8"))
            entries = [
                _of_text(json.dumps(valve, ensure_ascii=False, separators=(",", ":")), None)
                for valve in head.pop("valves")
            ]
        if head["schema"] != SCHEMA:
            raise KeyError("schema")
    except OSError as error:
        raise InputUnusable(f"{file}: cannot be read ({error.strerror}).") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputUnusable(
            f"{file.name}: is not a study of this tool ({SCHEMA}); make one with `quietseat study`."
        ) from error
    return Side(head, entries)


def _lines(file: Path) -> Iterator[Entry]:
    """The valves of a study.json, a line each. A line is read again when its valve is asked for, and not kept meanwhile."""
    with open(file, "rb") as lines:
        at = len(lines.readline())
        for line in lines:
            try:
                text = line.decode().rstrip().removesuffix(",")
                if text.startswith("{"):
                    yield _of_text(text, partial(_again, file, at, len(line)))
            except (ValueError, KeyError, TypeError) as error:
                raise InputUnusable(
                    f"{file.name}: the line at byte {at} is no valve; was the file cut or edited?"
                ) from error
            at += len(line)


def _again(file: Path, at: int, size: int) -> Mapping[str, Any]:
    with open(file, "rb") as lines:
        lines.seek(at)
        found: Mapping[str, Any] = json.loads(lines.read(size).decode().rstrip().removesuffix(","))
    return found


def _of_text(text: str, load: Callable[[], Mapping[str, Any]] | None) -> Entry:
    cut = text.rfind(_PLACE)
    start = _TAG.match(text)
    tag = json.JSONDecoder().raw_decode(text, start.end())[0] if start else json.loads(text)["tag"]
    place = json.loads("{" + text[cut + 1 :]) if cut > 0 else {}
    return Entry(str(tag), _mark(text[: cut if cut > 0 else None].encode()), place, load or partial(json.loads, text))


def _mark(content: bytes) -> bytes:
    return hashlib.blake2b(content, digest_size=16).digest()


# --- The comparison --------------------------------------------------------------------------------------------------


def compare_files(old: str | Path, new: str | Path, tolerance: float = TOLERANCE) -> dict[str, Any]:
    """What changed from one study.json to another, as `compare`. Raises InputUnusable where a file is no study."""
    return compare(of_file(old), of_file(new), tolerance)


def compare(
    old: Side, new: Side, tolerance: float = TOLERANCE, progress: Callable[[int, str], None] | None = None
) -> dict[str, Any]:
    """What changed from one study to another, as plain data.

    tolerance: share of the larger of two numbers within which they count as the same, 0 to 1. progress: called with the number of
    valves looked at and a word. Keys: same, old and new (title, hash, version, valves), counts by kind, verdicts by tag, findings,
    numbers, remedies, plan, basis, inputs, valves_gone, valves_new, unchanged (valves without anything to tell). Numbers are SI; `unit`
    names their unit.
    """
    if not 0.0 <= tolerance <= 1.0:
        raise ValueError(f"tolerance {tolerance}: a share from 0 to 1")
    found = _Found(tolerance)
    waiting, sizes = _index(old.entries), [0, 0]
    sizes[0] = len(waiting)
    seen: Counter[str] = Counter()
    for one in new.entries:
        key = (one.tag, seen[one.tag])
        seen[one.tag] += 1
        sizes[1] += 1
        before = waiting.pop(key, None)
        if before is None:
            found.valves_new.append(_known(one))
        else:
            found.valve(before, one)
        if progress and not sizes[1] % 100:
            progress(sizes[1], "valves compared")
    found.valves_gone = [_known(one) for one in waiting.values()]
    found.heads(old.head, new.head)
    return found.answer(_about(old.head, sizes[0]), _about(new.head, sizes[1]))


def _index(entries: Iterable[Entry]) -> dict[tuple[str, int], Entry]:
    seen: Counter[str] = Counter()
    out: dict[tuple[str, int], Entry] = {}
    for one in entries:
        out[one.tag, seen[one.tag]] = one
        seen[one.tag] += 1
    return out


def _known(one: Entry) -> dict[str, Any]:
    valve = one.load()
    return {
        "tag": one.tag,
        "verdict": valve.get("verdict"),
        "cause": valve.get("cause") or "",
        "sheet": valve.get("sheet"),
        "row": valve.get("row"),
    }


def _about(head: Mapping[str, Any], valves: int) -> dict[str, Any]:
    return {**{key: head.get(key) for key in ("title", "hash", "version", "counts")}, "valves": valves}


Told = Mapping[str, Any]


def paired(old: Sequence[Told], new: Sequence[Told]) -> list[tuple[Told | None, Told | None]]:
    """The findings of one valve, each beside the same one of the other side; None where that side has none.

    Of one code in one case those of the same rule belong together, then those of the same words, then the first that is left: a
    finding that goes by another rule stays the same finding. Findings of the code data are the same only in rule and words.
    """
    left, beside = list(new), dict[int, Told]()
    for mark in (_by_rule, _by_words, _by_case):
        for place, one in enumerate(old):
            key = mark(one)
            found = next((at for at, other in enumerate(left) if mark(other) == key), None) if key and place not in beside else None
            if found is not None:
                beside[place] = left.pop(found)
    return [*((one, beside.get(place)) for place, one in enumerate(old)), *((None, other) for other in left)]


def _by_case(one: Told) -> tuple[str, ...]:
    return () if one["code"] == "data" else (str(one["code"]), str(one.get("case") or ""))


def _by_rule(one: Told) -> tuple[str, ...]:
    return (*(_by_case(one) or ("data", str(one.get("words") or ""))), str(one.get("rule") or ""))


def _by_words(one: Told) -> tuple[str, ...]:
    return (*(_by_case(one) or ("data",)), str(one.get("words") or ""))


def other_rule(old: Told, new: Told) -> bool:
    """Whether a finding goes by another rule now and says so in other words."""
    return all((old.get(key) or "") != (new.get(key) or "") for key in ("rule", "words"))


class _Found:
    """Gathers what changed."""

    def __init__(self, tolerance: float) -> None:
        self.tolerance, self.unchanged = tolerance, 0
        self.verdicts: dict[str, dict[str, Any]] = {}
        self.findings: list[dict[str, Any]] = []
        self.numbers: list[dict[str, Any]] = []
        self.remedies: list[dict[str, Any]] = []
        self.plan: list[dict[str, Any]] = []
        self.basis: list[dict[str, Any]] = []
        self.inputs: list[dict[str, Any]] = []
        self.valves_gone: list[dict[str, Any]] = []
        self.valves_new: list[dict[str, Any]] = []

    def answer(self, old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
        lists = {
            name: getattr(self, name)
            for name in ("findings", "numbers", "remedies", "plan", "basis", "inputs", "valves_gone", "valves_new")
        }
        counts = {"verdicts": len(self.verdicts), **{name: len(found) for name, found in lists.items()}}
        version = old["version"] == new["version"]
        return {
            "status": "ok", "same": version and not any(counts.values()), "tolerance": self.tolerance, "old": dict(old), "new": dict(new),
            "same_version": version, "counts": counts, "unchanged": self.unchanged, "verdicts": self.verdicts, **lists,
        }  # fmt: skip

    def valve(self, before: Entry, after: Entry) -> None:
        """One valve that stands in both."""
        places = [bool(one.place.get("in_plan")) for one in (before, after)]
        if places[0] != places[1]:
            words = str(after.place.get("plan_reason") or before.place.get("plan_reason") or "")
            self.plan.append(
                {
                    "tag": after.tag,
                    "what": "place in the plan",
                    "old": _in(places[0]),
                    "new": _in(places[1]),
                    "unit": "",
                    "words": words,
                }
            )
        if before.mark != after.mark and self._content(after.tag, before.load(), after.load()):
            return
        self.unchanged += places[0] == places[1]

    def _content(self, tag: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
        """Tell what changed inside a valve; whether there was anything to tell."""
        told = self._told()
        if old.get("verdict") != new.get("verdict"):
            self.verdicts[_free(tag, self.verdicts)] = {
                "old": old.get("verdict"), "new": new.get("verdict"), "old_cause": old.get("cause") or "", "new_cause": new.get("cause") or "",
            }  # fmt: skip
        self._findings(tag, old.get("findings") or (), new.get("findings") or ())
        self._numbers(tag, old, new)
        self._remedy(tag, old, new)
        return self._told() > told

    def _told(self) -> int:
        return len(self.verdicts) + len(self.findings) + len(self.numbers) + len(self.remedies)

    def _findings(self, tag: str, old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]) -> None:
        for one, other in paired(old, new):
            another = bool(one and other and other_rule(one, other))
            if one and other and (one["outcome"], one["severity"]) == (other["outcome"], other["severity"]) and not another:
                continue
            shown = other or one or {}
            words = str(shown.get("words") or "")
            if one and another:
                words = f"{words} (by {shown.get('rule') or 'no rule named'}; was by {one.get('rule') or 'no rule named'})".strip()
            self.findings.append({
                "tag": tag, "code": shown["code"], "case": shown.get("case") or "", "change": "gone" if other is None else "new" if one is None else "changed",
                "old": _outcome(one), "new": _outcome(other), "words": words,
            })  # fmt: skip

    def _numbers(self, tag: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
        for path, words, unit in _NUMBERS:
            self._number(self.numbers, tag, words, unit, _at(old, path), _at(new, path))
        before = {str(case["name"]): case for case in old.get("cases") or ()}
        for case in new.get("cases") or ():
            was = before.get(str(case["name"]))
            for key, words, unit in _CASE_NUMBERS if was else ():
                self._number(
                    self.numbers, tag, f"{words}, case {case['name']}", unit, (was or {}).get(key), case.get(key)
                )

    def _number(self, into: list[dict[str, Any]], tag: str, what: str, unit: str, old: Any, new: Any) -> None:
        both = _is_number(old) and _is_number(new)
        if not both and not (_is_number(old) or _is_number(new)):
            return
        largest = max(abs(old), abs(new)) if both else 0.0
        if both and abs(new - old) <= self.tolerance * largest:
            return
        moved = (new - old) / abs(old) if both and old else None
        into.append({"tag": tag, "what": what, "unit": unit, "old": old, "new": new, "moved": moved})

    def _remedy(self, tag: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
        one, other = _recommended(old), _recommended(new)
        if (one.get("name"), one.get("clears")) != (other.get("name"), other.get("clears")):
            self.remedies.append({
                "tag": tag, "old": one.get("title") or "none", "new": other.get("title") or "none",
                "old_clears": one.get("clears"), "new_clears": other.get("clears"),
            })  # fmt: skip
        elif one:
            self._number(
                self.numbers,
                tag,
                "whole-life cost of the recommended remedy, middle",
                "money",
                _at(one, "cost.total.mid"),
                _at(other, "cost.total.mid"),
            )

    def heads(self, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
        """What belongs to the studies as a whole."""
        choices = [{row["name"]: row for row in head["basis"]["choices"]} for head in (old, new)]
        for name in dict.fromkeys([*choices[0], *choices[1]]):
            rows = [each.get(name) for each in choices]
            values = [row["value"] if row else None for row in rows]
            if values[0] != values[1]:
                words = next(row["description"] for row in rows if row)
                self.basis.append({"name": name, "old": values[0], "new": values[1], "words": words})
        for name in dict.fromkeys([*(old.get("inputs") or {}), *(new.get("inputs") or {})]):
            files = [((head.get("inputs") or {}).get(name) or {}).get("sha256") for head in (old, new)]
            if files[0] != files[1]:
                self.inputs.append({"name": name, "old": files[0], "new": files[1]})
        plans = [head.get("plan") or {} for head in (old, new)]
        for path, words, unit in _PLAN_NUMBERS:
            self._number(self.plan, "", words, unit, _at(plans[0], path), _at(plans[1], path))
        done = [{one["tag"]: one for one in plan.get("chosen") or ()} for plan in plans]
        for tag, one in done[0].items():
            other = done[1].get(tag)
            if other and (one["remedy"], one.get("window")) != (other["remedy"], other.get("window")):
                was, now = (f"{each.get('title') or each['remedy']}, {each.get('window')}" for each in (one, other))
                self.plan.append(
                    {
                        "tag": tag,
                        "what": "remedy in the plan",
                        "old": was,
                        "new": now,
                        "unit": "",
                        "words": str(other.get("why") or ""),
                    }
                )


def _free(tag: str, taken: Mapping[str, Any]) -> str:
    """A key for the second valve of one tag."""
    return (
        tag if tag not in taken else next(key for key in (f"{tag} ({n})" for n in range(2, 10_000)) if key not in taken)
    )


def _in(place: bool) -> str:
    return "in" if place else "out"


def _outcome(finding: Mapping[str, Any] | None) -> str | None:
    return f"{finding['outcome']}, {finding['severity']}" if finding else None


def _recommended(valve: Mapping[str, Any]) -> Mapping[str, Any]:
    return next((one for one in valve.get("remedies") or () if one["name"] == valve.get("recommended")), {})


def _at(data: Any, path: str) -> Any:
    for key in path.split("."):
        data = data.get(key) if isinstance(data, Mapping) else None
    return data


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


# --- As one list -----------------------------------------------------------------------------------------------------


def flat(found: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The answer of `compare` as one list for a table or a CSV: kind tag what old new unit words, kinds in the order of KINDS."""
    out = [
        _line("verdict", tag, "verdict", one["old"], one["new"], words=one["new_cause"])
        for tag, one in found["verdicts"].items()
    ]
    out += [
        _line(
            "finding",
            one["tag"],
            one["code"] + (f", case {one['case']}" if one["case"] else ""),
            one["old"],
            one["new"],
            words=one["words"],
        )
        for one in found["findings"]
    ]
    out += [_line("number", one["tag"], one["what"], one["old"], one["new"], one["unit"]) for one in found["numbers"]]
    out += [
        _line("remedy", one["tag"], "recommended remedy", _cleared(one, "old"), _cleared(one, "new"))
        for one in found["remedies"]
    ]
    out += [
        _line("plan", one["tag"], one["what"], one["old"], one["new"], one["unit"], one.get("words", ""))
        for one in found["plan"]
    ]
    out += [_line("choice", "", one["name"], one["old"], one["new"], words=one["words"]) for one in found["basis"]]
    out += [
        _line("input", "", one["name"], one["old"], one["new"], words="SHA-256 of the file") for one in found["inputs"]
    ]
    out += [
        _line("valve", one["tag"], "valve gone", one["verdict"], None, words=one["cause"])
        for one in found["valves_gone"]
    ]
    return out + [
        _line("valve", one["tag"], "valve new", None, one["verdict"], words=one["cause"]) for one in found["valves_new"]
    ]


def _cleared(one: Mapping[str, Any], side: str) -> str:
    clears = one.get(f"{side}_clears")
    return f"{one[side]} ({clears})" if clears else str(one[side])


def _line(kind: str, tag: str, what: str, old: Any, new: Any, unit: str = "", words: str = "") -> dict[str, Any]:
    return {"kind": kind, "tag": tag, "what": what, "old": old, "new": new, "unit": unit, "words": words}
