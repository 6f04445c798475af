"""The section of one valve: verdict, cause and evidence first, then the numbers, the cure, and every step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

from quietseat.formula import number
from quietseat.report import drawing, evidence, in_time, leakage, money, reliability, tried
from quietseat.report.document import (
    Block,
    Bullets,
    Callout,
    Cell,
    Column,
    Fold,
    Heading,
    Pairs,
    Prose,
    StepLine,
    Steps,
    TableBlock,
)  # fmt: skip
from quietseat.report.words import (
    CLEARS_NOTHING,
    DASH,
    MARKS,
    OUTCOMES,
    SEVERITIES,
    VERDICT_WORDS,
    Shown,
    clears,
    code,
    field_words,
    is_number,
    nothing_found,
    percent,
    place,
    plain,
    sentence,
)  # fmt: skip
from quietseat.typeset import unit_text


def heading(valve: Mapping[str, Any]) -> Heading:
    """Rank, tag and verdict."""
    return Heading(3, f"{valve['rank']}. {valve['tag']}: {valve['verdict']}", anchor(valve["rank"]), valve["verdict"])


def section(valve: Mapping[str, Any], shown: Shown, study: str = "") -> Iterable[Block]:
    """All blocks of one valve below its heading, from its unpacked dict. study: the study's hash, printed in the fit drawing."""
    yield facts(valve, shown)
    yield Callout(valve["verdict"], verdict_title(valve), tuple(evidence.reworded(valve.get("reasons") or (), valve)))
    yield from cure(valve, shown)
    yield Fold(
        f"Evidence, numbers, remedies and steps of {valve['tag']}", tuple(_proof(valve, shown, study)), quiet=True
    )


def _proof(valve: Mapping[str, Any], shown: Shown, study: str) -> Iterable[Block]:
    if valve.get("evidence"):
        yield Prose("Evidence", "label")
        yield Bullets(tuple(evidence.reworded(valve["evidence"], valve)))
    yield from _findings(valve, shown)
    yield rests_on(valve)
    passed = evidence.passed(valve, shown)
    if passed:
        yield Fold(passed.caption, (passed,))
    picture = drawing.ladder(str(valve["tag"]), valve.get("ladder") or (), shown)
    if picture:
        yield picture
    yield from _cases(valve, shown)
    yield from stability(valve, shown)
    yield from in_time.section(valve, shown)
    yield from leakage.section(valve, shown)
    yield from tried.section(valve, shown, study)
    if valve.get("recommended") != "measure-first":  # nothing to buy before the answers are known
        yield from money.section(valve, shown)
    yield from reliability.section(valve, shown)
    yield from resistances(valve)
    yield from _folds(valve, shown)


def anchor(rank: Any) -> str:
    """The anchor of a valve's section; made from its rank, never from register text."""
    return f"valve-{int(rank)}"


def verdict_title(valve: Mapping[str, Any]) -> str:
    """The verdict and its cause in one line."""
    meaning = VERDICT_WORDS.get(valve["verdict"], "")
    cause = evidence.headline(valve)
    return f"{str(valve['verdict']).capitalize()}: {cause or meaning}"


def facts(valve: Mapping[str, Any], shown: Shown) -> Block:
    """What stands there: size, kind, set, flanges, what it protects, its place in the register."""
    body, vessel = valve.get("valve") or {}, valve.get("vessel") or {}
    classes = [body.get("inlet_class"), body.get("outlet_class")]
    items = [
        ("Valve", " ".join(plain(part) for part in (designation(body), body.get("kind")) if part) or DASH),
        ("Set pressure", shown.pressure_of(body.get("set_pressure_pa"))),
        (
            "Flanges",
            f"class {plain(classes[0])} by {plain(classes[1])}, {plain(body.get('facing'))} face"
            if any(classes)
            else DASH,
        ),
        ("Protects", plain(vessel.get("name"))),
        ("MAWP", shown.pressure_of(vessel.get("mawp_pa"))),
        ("Plant unit", plain(valve.get("unit"))),
        ("Register", place(valve.get("sheet"), valve.get("row"))),
    ]
    if valve.get("alias"):
        items.append(("Also called", plain(valve["alias"])))
    return Pairs(tuple((name, Cell(text)) for name, text in items))


def designation(body: Mapping[str, Any]) -> str:
    """The size as the trade writes it, such as 4P6; a question mark for a letter nobody stated."""
    sizes = [f"{body[key]:g}" if is_number(body.get(key)) else "" for key in ("inlet_size", "outlet_size")]
    letter = body.get("orifice") or ("?" if any(sizes) else "")
    return str(body.get("designation") or f"{sizes[0]}{letter}{sizes[1]}")


def cure(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """The recommended remedy with its condition, price and fit; what to ask where data are missing; or that there is none."""
    by_name = {remedy["name"]: remedy for remedy in valve.get("remedies") or ()}
    first, best = by_name.get(valve.get("recommended")), by_name.get(valve.get("best_yes"))
    if first is None:
        if valve["verdict"] != "sound":
            yield Callout("cure", "No remedy is recommended", (
                "No remedy tried here clears every finding; the table of remedies says what each one leaves.",
            ))  # fmt: skip
        return
    if first["name"] == "measure-first":
        yield _ask_first(first, shown)
        return
    lines = [f"{sentence(clears(first['clears'], first['name']))} {_price(first, shown)}"]
    if first.get("condition"):
        lines.append(f"Condition: {first['condition']}")
    if first.get("question"):
        lines.append(f"Ask the owner first: {first['question']}")
    if first.get("fit"):
        lines.append(f"Fit: {first['fit']['verdict']}. {first['fit'].get('words') or ''}".strip())
    if best is not None and best["name"] != first["name"]:
        lines.append(
            f"Best remedy that clears everything without proof: {sentence(best['title'])} {_price(best, shown)}"
        )
    elif first["clears"] != "yes" and first["name"] not in CLEARS_NOTHING:
        lines.append("No remedy tried here clears everything without proof.")
    planned = "In the plan" if valve.get("in_plan") else "Not in the plan"
    lines.append(f"{planned}: {valve['plan_reason']}" if valve.get("plan_reason") else f"{planned}.")
    yield Callout("cure", f"Recommended: {first['title']}", tuple(lines))


def _ask_first(first: Mapping[str, Any], shown: Shown) -> Callout:
    """What has to be known before any remedy can be named."""
    asked = [sentence(one.strip()) for one in str(first.get("condition") or "").split("; ") if one.strip()]
    asked += [f"Of the owner: {first['question']}"] if first.get("question") else []
    return Callout("unproven", "No remedy yet: ask first", (
        "No check is proven to fail yet, so no cure is proposed; none of the open ones may be taken as passed. "
        "What is asked here settles the verdict first.",
        *(f"{number}. {words}" for number, words in enumerate(asked, 1)),
        _price(first, shown),
    ))  # fmt: skip


def _price(remedy: Mapping[str, Any], shown: Shown) -> str:
    cost = remedy.get("cost")
    if not cost:
        return "Not priced."
    what = "Whole-life cost of keeping the valve as it is:" if remedy["name"] in CLEARS_NOTHING else "Whole-life cost"
    return f"{what} {shown.spread(cost['total'])} {shown.currency}.".replace(" .", ".")


finding_value = evidence.value


def _findings(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    rows = tuple(
        (
            Cell(f"{code(item['code'])}: {OUTCOMES.get(item['outcome'], item['outcome'])}"), evidence.words(item) or DASH,
            evidence.value(item, "value", shown), evidence.value(item, "limit", shown), percent(item.get("margin")),
            SEVERITIES.get(item["severity"], item["severity"]), rule_words(item),
        )
        for item in valve.get("findings") or ()
    )  # fmt: skip
    if not rows:
        yield Prose(f"Findings: none. {nothing_found(valve.get('verdict'), valve.get('reasons'))}")
        return
    yield TableBlock(
        "Findings", (Column("Finding"), Column("In words", "wide"), Column("Value", "number"), Column("Limit", "number"),
                     Column("Margin", "number"), Column("Severity"), Column("Rule and what it rests on", "wide")), rows,
        note="Margin = (limit − value) / limit; negative fails. Open = not decided, never passed.",
    )  # fmt: skip


def rule_words(finding: Mapping[str, Any]) -> str:
    """The rule of a finding and what it rests on."""
    parts = [str(finding.get("rule") or "")]
    if finding.get("case"):
        parts.append(f"case {finding['case']}")
    if finding.get("step"):
        parts.append(f"step {finding['step']}")
    if finding.get("rests_on"):
        parts.append("rests on defaults: " + ", ".join(field_words(str(name)) for name in finding["rests_on"]))
    if finding.get("confidence"):
        parts.append(f"weakest source: {MARKS.get(finding['confidence'], finding['confidence'])}")
    return "; ".join(part for part in parts if part) or DASH


def _cases(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    cases = valve.get("cases") or ()
    bases = rate_bases(valve)
    if not cases:
        yield Prose("Relief cases: none could be read, so sizing was not checked.")
        return
    flows = tuple(
        (
            case["name"], bases.get(index, "not stated"), shown.flow_of(case.get("required_flow_kg_s"), False),
            shown.flow_of(case.get("rated_flow_kg_s"), False), shown.flow_of(case.get("full_flow_kg_s"), False),
            percent(case.get("utilisation")), shown.area_of(case.get("required_area_m2"), False), plain(case.get("orifice")),
            ended(case),
        )
        for index, case in enumerate(cases)
    )  # fmt: skip
    yield TableBlock(
        "Relief cases: required, rated and un-derated flow side by side",
        (Column("Case", "wide"), Column("Rate rests on"), Column(f"Required, {shown.flow}", "number"),
         Column(f"Rated, {shown.flow}", "number"), Column(f"Un-derated, {shown.flow}", "number"), Column("Required / rated", "number"),
         Column(f"Required area, {shown.area}", "number"), Column("Letter needed"), Column("Method and how it ended", "wide")), flows,
        note="Rated = derated capacity used for sizing. Un-derated = what the valve really passes, used for piping and stability.",
    )  # fmt: skip
    pressures = tuple(
        (
            case["name"], shown.pressure_of(case.get("relieving_pressure_pa"), False), percent(case.get("inlet_loss_required")),
            percent(case.get("inlet_loss_rated")), shown.difference_of(case.get("built_up_required_pa"), False),
            shown.difference_of(case.get("built_up_pa"), False), shown.pressure_of(case.get("back_pressure_pa"), False),
            plain(_rounded(case.get("outlet_mach"))), shown.pressure_of(case.get("body_floor_pa"), False),
        )
        for case in cases
    )  # fmt: skip
    yield TableBlock(
        "Pressures and losses of each case",
        (Column("Case", "wide"), Column(f"Relieving P1, {shown.pressure}", "number"),
         Column("Inlet loss at required flow, of set", "number"), Column("Inlet loss at rated flow, of set", "number"),
         Column(f"Built-up at required flow, {shown.difference}", "number"), Column(f"Built-up at rated flow, {shown.difference}", "number"),
         Column(f"Total back pressure, {shown.pressure}", "number"), Column("Outlet Mach", "number"),
         Column(f"Body outlet floor, {shown.pressure}", "number")), pressures,
        note="The body outlet floor is the static pressure at which the valve's own outlet chokes: reported, not failed.",
    )  # fmt: skip


def _rounded(value: Any) -> Any:
    return f"{value:.2f}" if is_number(value) else value


def ended(case: Mapping[str, Any]) -> str:
    """Method of a case and how it ended."""
    words = ", ".join(str(part) for part in (case.get("method"), case.get("regime")) if part)
    if case.get("status") not in (None, "ok"):
        return f"{words}: {case['status']}. {case.get('reason') or ''}".strip()
    return words or DASH


def rate_bases(valve: Mapping[str, Any]) -> dict[int, str]:
    """What each case's required rate rests on: "signed", "nameplate" or "unknown", as the register or a default says."""
    found: dict[int, str] = {}
    for item in valve.get("inputs") or ():
        parts = str(item["field"]).split(".")
        if parts[0] in ("case", "cases") and parts[-1] == "rate_basis":
            index = int(parts[1]) if len(parts) > 2 and parts[1].isdigit() else 0
            found[index] = _said(item) + (" (default)" if item.get("how") in ("default", "assumed") else "")
    return found


def stability(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """Stability in closed form: verdict, words, and the lengths, times and pressures behind them."""
    found = valve.get("stability") or {}
    if not found:
        return
    yield Prose("Stability", "label")
    yield Prose(
        f"By the model: {found.get('verdict', 'unproven')}. {found.get('words') or found.get('reason') or 'Not assessed.'}"
    )
    items = [
        (
            "Inlet length / critical length, closed form",
            _pair(found, "inlet_length_m", "critical_length_m", shown, "m"),
        ),
        ("Wave return / opening time", _pair(found, "wave_return_s", "opening_time_s", shown, "s")),
        (
            "Force balance used / allowed",
            _pair(found, "force_balance_used_pa", "force_balance_allowed_pa", shown, "Pa"),
        ),
        ("Pressure drop of the opening wave", shown.difference_of(found.get("wave_drop_pa"))),
        ("Cycle period", shown.quantity(found.get("cycle_period_s"), "s")),
        ("Valve frequency", shown.quantity(found.get("valve_frequency_hz"), "Hz")),
    ]
    known = tuple((name, Cell(text)) for name, text in items if text.strip(f"{DASH} /"))
    if known:
        yield Pairs(known)


def _pair(found: Mapping[str, Any], first: str, second: str, shown: Shown, unit: str) -> str:
    return f"{shown.quantity(found.get(first), unit)} / {shown.quantity(found.get(second), unit)}"


def rests_on(valve: Mapping[str, Any]) -> Block:
    """What a reviewer looks for first: defaults behind the verdict, rate basis, source of blowdown."""
    assumptions = valve.get("assumptions") or ()
    fields = ", ".join(field_words(str(item["field"])) for item in assumptions)
    bases = sorted(set(rate_bases(valve).values()))
    return Pairs((
        ("Verdict rests on, weakest source first", Cell(evidence.all_sources(valve))),
        ("Defaults behind this verdict", Cell(f"{len(assumptions)}" + (f": {fields}" if fields else ""))),
        ("Required rates rest on", Cell(", ".join(bases) or "not stated: no signed rate basis in the register")),
        ("Blowdown and ring settings", Cell(_blowdown(valve))),
    ))  # fmt: skip


def _said(item: Mapping[str, Any]) -> str:
    """The value of an input as text: as read, or as given where only that was kept."""
    return plain(item["value"] if item.get("value") is not None else item.get("text"))


def _blowdown(valve: Mapping[str, Any]) -> str:
    for item in valve.get("inputs") or ():
        if str(item["field"]).endswith("blowdown"):
            share = (valve.get("valve") or {}).get("blowdown")
            value = (
                percent(share)
                if is_number(share)
                else percent(item["value"])
                if is_number(item.get("value"))
                else _said(item)
            )
            source = item.get("source") or item.get("rule")
            return f"{value}, {plain(item.get('how'))}, {plain(item.get('from'))}" + (
                f"; source {plain(source)}" if source else ""
            )
    for item in valve.get("assumptions") or ():
        if str(item["field"]).endswith("blowdown"):
            return f"{plain(item.get('value'))}, default; {plain(item.get('rule'))}; source {plain(item.get('source'))}"
    return "not stated in the register; ring positions are not known here"


def resistances(valve: Mapping[str, Any]) -> Iterable[Block]:
    """Each loss coefficient of the lines, marked measured or assumed."""
    rows: list[tuple[str | Cell, ...]] = []
    for step in valve.get("steps") or ():
        said = f"{step['name']} {step['substituted']} {step['source']}".lower()
        line = any(word in str(step.get("group", "")).lower() for word in ("inlet", "outlet", "resistance"))
        mark = (
            "assumed"
            if "assumed" in said or "none stated" in said
            else "measured"
            if "measured" in said or "stated" in said
            else ""
        )
        if not line or not mark or step.get("expression"):
            continue
        value = (
            plain(step.get("substituted"))
            if step["value"] is None
            else f"{number(step['value'])} {unit_text(step['unit'])}".strip()
        )
        rows.append((step["group"], step["name"], value, mark, plain(step["source"])))
    if rows:
        yield Fold("Each K of the lines: measured or assumed", (TableBlock(
            "Resistances of the inlet and outlet lines",
            (Column("Line"), Column("Part", "wide"), Column("Value", "number"), Column("Measured or assumed"), Column("Source", "wide")),
            tuple(rows),
        ),))  # fmt: skip


def _folds(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    steps = valve.get("steps") or ()
    if steps:
        yield Fold(f"Calculation, line by line ({len(steps)} steps)", tuple(_steps(steps)))
    inputs = valve.get("inputs") or ()
    if inputs:
        yield Fold(f"Inputs and where they came from ({len(inputs)})", (TableBlock(
            "Inputs", (Column("Field"), Column("Value"), Column("As given", "wide"), Column("From"), Column("How"), Column("Rule or source", "wide")),
            tuple((field_words(str(item["field"])), shown.quantity(item.get("value"), str(item.get("unit") or "")) if is_number(item.get("value")) else _said(item), plain(item.get("text")),
                   plain(item.get("from")), plain(item.get("how")), plain(item.get("rule") or item.get("source"))) for item in inputs),
        ),))  # fmt: skip
    assumptions = valve.get("assumptions") or ()
    if assumptions:
        yield Fold(f"Assumptions ({len(assumptions)})", (TableBlock(
            "Assumptions", (Column("Field"), Column("Taken"), Column("Rule", "wide"), Column("Source", "wide")),
            tuple((field_words(str(item["field"])), plain(item.get("value")), plain(item.get("rule")), plain(item.get("source")))
                  for item in assumptions),
        ),))  # fmt: skip
    problems = valve.get("problems") or ()
    if problems:
        yield Fold(
            f"Problems in its register cells ({len(problems)})", (problem_table(problems, "Problems of this valve"),)
        )


def _steps(steps: Sequence[Mapping[str, Any]]) -> Iterable[Steps]:
    for group, members in groupby(steps, key=lambda step: str(step.get("group") or "")):
        yield Steps(group, tuple(
            StepLine(
                str(step["symbol"]), str(step["name"]), str(step["expression"] or ""), str(step["substituted"] or ""),
                number(step["value"]) if is_number(step["value"]) else "", unit_text(str(step["unit"] or "")), str(step["source"] or ""),
            )
            for step in members
        ))  # fmt: skip


def problem_table(problems: Sequence[Mapping[str, Any]], caption: str, note: str = "") -> TableBlock:
    """Problems with place, value as given, rule and mend."""
    return TableBlock(
        caption, (Column("Place"), Column("Field"), Column("Value as given", "wide"), Column("What is wrong", "wide"), Column("How to mend it", "wide")),
        tuple((_problem_place(item), field_words(str(item.get("field") or DASH)), plain(item.get("value")), plain(item.get("rule")),
               plain(item.get("mend"))) for item in problems),
        note=note,
    )  # fmt: skip


def _problem_place(problem: Mapping[str, Any]) -> str:
    parts = [str(problem["sheet"]) if problem.get("sheet") else "", f"row {problem['row']}" if problem.get("row") is not None else "",
             f"column {problem['column']}" if problem.get("column") else ""]  # fmt: skip
    return ", ".join(part for part in parts if part) or plain(problem.get("file"))
