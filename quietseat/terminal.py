"""What the commands say to a person in a terminal: short, in words, worst first."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from quietseat.register import Register
    from quietseat.register.mends import MendRead
    from quietseat.study import Study

WIDTH = 100


def register(found: Register) -> str:
    """Counts, columns and problems of a register."""
    lines = [
        f"{found.file}: {found.rows_found} rows found = {found.rows_read} read + {found.rows_partial} partial + "
        f"{found.rows_refused} refused; {found.valves_found} valves.",
        "",
        "Columns:",
        *(f"  {c.sheet}: {c.heading!r} -> {c.field or 'not mapped'}{f' [{c.unit}]' if c.unit else ''} ({c.how})"
          for c in found.columns),
    ]  # fmt: skip
    if found.problems:
        lines += ["", f"{len(found.problems)} problems:"]
        lines += [f"  {problem.sentence()}" for problem in found.problems]
    if found.mends:
        lines += ["", f"{len(found.mends)} mends:"]
        lines += [_mend(m) for m in found.mends]
    return "\n".join(lines)


def _mend(mend: MendRead) -> str:
    """One mend and what became of it."""
    place = " ".join(part for part in (mend.sheet, f"row {mend.row}" if mend.row is not None else "", mend.field) if part)
    fate = "" if mend.applied else " (not applied, see the problems)"
    return f"  {place} = {mend.value!r} by {mend.who}, {mend.when}: {mend.why}{fate}"


def size(answer: dict[str, Any]) -> str:
    """Steps of one sizing, what was assumed, and the result last."""
    lines = [f"Sizing by {answer['standard']} ({answer['edition']}), method {answer['method']}", *_steps(answer["steps"])]
    if answer["assumptions"]:
        lines += ["", "Assumed:"]
        for a in answer["assumptions"]:
            lines += wrapped(f"{a['field']}: {a['value']} ({a['rule']})")
    if answer["flags"]:
        lines += ["", "Doubts:"]
        for flag in answer["flags"]:
            lines += wrapped(flag)
    if answer["status"] != "ok":
        return "\n".join([*lines, "", *wrapped(f"Not answered ({answer['status']}): {answer['reason']}", "")])
    return "\n".join([*lines, "", *wrapped(_result(answer), "")])


def _result(answer: dict[str, Any]) -> str:
    said = f"{answer['regime']} flow" if "critical" in answer["regime"] else answer["regime"]
    area = answer["required_area_m2"]
    if area is not None:
        flow = f"Required area {area * 1e6:.6g} mm2 ({area / 0.0254**2:.5g} in2) for {answer['flow_kg_s'] * 3600:.6g} kg/h, {said}"
        if answer["orifice"]:
            chosen = answer["selected_area_m2"]
            return f"{flow}: orifice {answer['orifice']} ({chosen * 1e6:.5g} mm2, {chosen / 0.0254**2:.4g} in2)."
        return f"{flow}. No letter: {answer['orifice_reason']}."
    if answer["flow_kg_s"] is not None:
        return f"Flow {answer['flow_kg_s'] * 3600:.6g} kg/h ({answer['flow_kg_s']:.6g} kg/s), {said}."
    return f"Mass flux {answer['mass_flux_kg_m2_s']:.6g} kg/m2/s before any factor, {said}; no flow given, so no area."


def valve(answer: dict[str, Any]) -> str:
    """Verdict, findings and ladder of one valve."""
    lines = [f"{answer['tag']}: {answer['verdict'].upper()}"]
    if answer["cause"]:
        lines += wrapped(f"Cause: {answer['cause']}", "")
    lines += ["", "Findings:"] if answer["findings"] else ["", "Every check passed."]
    for f in answer["findings"]:
        margin = f", margin {f['margin']:+.1%}" if f["margin"] is not None else ""
        lines += wrapped(f"[{f['outcome']}, {f['severity']}] {f['code']}: {f['words']}{margin}")
    if answer["passed"]:
        lines += ["", "Passed:"]
        for f in answer["passed"]:
            lines += wrapped(f"{f['code']}: {f['words']}")
    lines += ["", "Cases:"] if answer["cases"] else ["", "No relief case."]
    for c in answer["cases"]:
        lines += wrapped(f"{c['name']}: {_case(c)}")
    lines += ["", *wrapped(f"Stability: {answer['stability']['words'] or answer['stability']['reason']}", "")]
    lines += ["", "Ladder:"] + [
        f"  {r['pressure_pa'] / 1e5:9.3f} bara  {r['name']} ({r['rests_on']})" for r in reversed(answer["ladder"])
    ]
    if answer["assumptions"]:
        lines += ["", "Assumed:"]
        for a in answer["assumptions"]:
            lines += wrapped(f"{a['field']}: {a['value']} ({a['rule']})")
    lines += ["", "Every step with --json."]
    return "\n".join(lines)


def chatter(answer: dict[str, Any]) -> str:
    """Verdict of stability in time, how likely it is, why, and what would keep the valve quiet."""
    lines = [f"{answer['tag']}: {answer['verdict'].upper()}"]
    if answer["status"] != "ok":
        lines += wrapped(f"Not answered ({answer['status']}): {answer['reason']}", "")
    elif answer["words"]:
        lines += wrapped(answer["words"], "")
    for title, found in (
        ("How likely:", _likely(answer)), ("At each flow:", _flows(answer)), ("What happens:", _motion(answer)),
        ("What would keep it quiet, everything else as it is:", _quiet(answer)),
        ("What to measure:", [answer["measure"]] if answer["measure"] else []),
    ):  # fmt: skip
        if found:
            lines += ["", title, *(line for sentence in found for line in wrapped(sentence))]
    if answer["drawn"]:
        names = ", ".join(name.replace("_", " ") for name in answer["drawn"])
        lines += ["", *wrapped(f"Not stated, drawn from their ranges (estimates): {names}.", "")]
    if answer["assumptions"]:
        lines += ["", "Assumed:"]
        for a in answer["assumptions"]:
            lines += wrapped(f"{a['field']}: {a['value']} ({a['rule']})")
    lines += ["", "Mind:"]
    for caution in answer["cautions"]:
        lines += wrapped(caution)
    return "\n".join([*lines, "", "Traces, map and every number with --json."])


def _likely(answer: dict[str, Any]) -> list[str]:
    """Probabilities with their interval, what limits the valve, what explains the spread."""
    out: list[str] = []
    if answer["samples"] > 1 and answer["chatter_probability"] is not None:
        low, high = answer["interval"] or (None, None)
        interval = f" (95 % interval {_percent(low)} to {_percent(high)})" if low is not None else ""
        rest = [f"{words} {_percent(answer[key])}" for key, words in
                (("flutter_probability", "flutter"), ("cycling_probability", "short cycling")) if answer[key] is not None]  # fmt: skip
        out.append(", ".join([f"chatter {_percent(answer['chatter_probability'])}{interval}", *rest]) + f"; {answer['samples']} draws, "
                   f"{answer['marched']} cases marched in time")  # fmt: skip
    elif answer["samples"] == 1:
        out.append("one run with the stated values: a class, no probability")
    length, critical = answer["inlet_length_m"], answer["critical_length_m"]
    if length is not None and critical:
        out.append(f"inlet line {length:.3g} m, critical length {critical:.4g} m (closed form): {length / critical:.2f} of it")
    if answer["limited_by"] and answer["limited_by"] != "nothing":
        out.append(f"limited by: {answer['limited_by']}")
    shares = [f"{s['parameter'].replace('_', ' ')} {_percent(s['share'])}" for s in answer["sensitivities"][:4] if s["share"]]
    if shares:
        out.append(f"the spread is explained by: {', '.join(shares)}")
    return out


def _flows(answer: dict[str, Any]) -> list[str]:
    several = answer["samples"] > 1
    out = []
    for f in answer["flows"]:
        shares = [f"{words} {_percent(f[key])}" for key, words in
                  (("chatter_probability", "chatters"), ("flutter_probability", "flutters"), ("cycling_probability", "cycles"),
                   ("unproven_share", "no answer")) if f[key]]  # fmt: skip
        said = (", ".join(shares) if several else shares[0].rpartition(" 100")[0] or shares[0]) if shares else "quiet"
        out.append(f"{f['name']} ({_short(f['flow_kg_s'])} kg/s): {said}")
    return out


def _motion(answer: dict[str, Any]) -> list[str]:
    """What was seen in the runs; only the class repeats."""
    low, high = answer["inlet_pressure_min_pa"], answer["inlet_pressure_max_pa"]
    parts = [
        f"{words} {_short(answer[key] * factor)} {unit}" for key, words, factor, unit in (
            ("frequency_hz", "strongest frequency", 1, "Hz"), ("seat_impacts_per_s", "seat impacts", 1, "a second"),
            ("impact_energy_j", "energy of one", 1, "J"), ("opening_time_s", "opening time", 1e3, "ms"),
            ("cycle_period_s", "one cycle", 1, "s"),
        ) if answer[key]
    ]  # fmt: skip
    if low is not None and high is not None:
        parts.append(f"inlet pressure {low / 1e5:.4g} to {high / 1e5:.4g} bara")
    return [", ".join(parts)] if parts else []


def _quiet(answer: dict[str, Any]) -> list[str]:
    limits = answer["limits"]
    found = [
        text.format(value) for key, text in (
            ("longest_quiet_inlet_m", "an inlet line of at most {:.3g} m"),
            ("smallest_quiet_flow_kg_s", "a flow of at least {:.3g} kg/s"),
        ) if (value := limits[key]) is not None
    ]  # fmt: skip
    if limits["blowdown_cure"] is not None:
        found.append(f"a blowdown of {_percent(limits['blowdown_cure'])}")
    if limits["lift_cure"] is not None:
        found.append(f"the lift restricted to {_percent(limits['lift_cure'])} of full lift")
    return found + list(limits["words"])


def _percent(share: float | None) -> str:
    """A share in per cent; never a round 0 or 100 for what is not quite that."""
    if share is None:
        return "unknown"
    digits = 1 if 0 < share < 0.01 or 0.99 < share < 1 else 0
    return f"{100 * share:.{digits}f} %"


def _case(case: dict[str, Any]) -> str:
    if case["status"] != "ok":
        return f"{case['status']}: {case['reason']}"
    parts = []
    for key, words, factor, unit in (
        ("required_area_m2", "needs", 1e6, "mm2"), ("required_flow_kg_s", "required", 3600, "kg/h"),
        ("rated_flow_kg_s", "rated", 3600, "kg/h"), ("full_flow_kg_s", "un-derated", 3600, "kg/h"),
        ("utilisation", "uses", 100, "%"), ("inlet_loss_rated", "inlet loss at rated flow", 100, "% of set"),
        ("inlet_loss_required", "at required flow", 100, "% of set"), ("built_up_pa", "built-up", 1e-5, "bar"),
    ):  # fmt: skip
        if case[key] is not None:
            parts.append(f"{words} {_short(case[key] * factor)} {unit}")
    return ", ".join(parts)


def _short(value: float) -> str:
    """Four digits, and never a power of ten where whole numbers do."""
    return f"{value:.0f}" if 1e3 <= abs(value) < 1e9 else f"{value:.4g}"


def study(found: Study) -> str:
    """Counts, the ten worst with causes, the plan, and what to ask first."""
    head = found.head
    counts, rows = head["counts"], head["register"]
    lines = [
        f"{rows['rows_found']} rows = {rows['rows_read']} read + {rows['rows_partial']} partial + {rows['rows_refused']} "
        f"refused; {rows['valves_found']} valves: {counts['misfit']} misfit, {counts['unproven']} unproven, "
        f"{counts['watch']} watch, {counts['sound']} sound.",
        "",
        "The ten worst:",
    ]  # fmt: skip
    for record in found.ranked()[:10]:
        s = record.summary
        lines.append(f"{s['rank']:>3}. {s['tag']} ({s['designation']}, {s['fluid'] or 'fluid unknown'}): {s['cause'] or '; '.join(s['reasons'])}")
        if s["recommended_title"]:
            proof = f" - {s['condition']}" if s["clears"] == "subject-to-proof" and s["condition"] else ""
            lines.append(f"     Cure: {s['recommended_title']}{proof}")
            if s["clears"] == "subject-to-proof" and s["best_yes_title"]:
                lines.append(f"     Without that proof: {s['best_yes_title']}")
    lines += _planned(head.get("plan") or {}, head.get("questions") or {})
    marching, seen = head.get("marching"), head.get("predictions")
    if marching and marching.get("valves_marched"):
        lines += ["", *wrapped(f"Stability in time: {marching['valves_marched']} of {marching['valves']} valves marched. "
                             f"{marching['words']}", "")]  # fmt: skip
    if seen and seen.get("hit_rate") is not None:
        lines += wrapped(f"Predicted against found in the shop: {seen['words']}", "")
    if head["problems"]:
        lines.append(f"{len(head['problems'])} problems in the data: see problems.csv")
    return "\n".join(lines)


def _planned(plan: dict[str, Any], questions: dict[str, Any]) -> list[str]:
    """The plan in a sentence or two, and the question that brings most an hour."""
    lines: list[str] = []
    totals, money = plan.get("totals") or {}, plan.get("currency", "")
    if plan.get("words"):
        said = f"Plan: {plan['words']}"
        if totals.get("count"):
            said += (f" The remedies chosen cost {totals['spent']:,.0f} {money} ({totals['spent_low']:,.0f} to {totals['spent_high']:,.0f}) and take "
                     f"{totals['hours']:.0f} crew hours.")  # fmt: skip
        lines += ["", *wrapped(said, "")]
        if totals.get("stop_findings_left"):
            lines += wrapped(f"Stop findings: {totals['stop_findings_cured']} cured, {totals['stop_findings_left']} left; "
                             f"{plan['stop_findings_need']['words']}.", "")  # fmt: skip
    asked = questions.get("questions") or []
    best = max(asked, key=lambda one: one["per_hour"] or 0.0, default=None)
    if best and best["value"]:
        lines += wrapped(f"Ask first: {best['tag']}: {best['title']} ({best['who']}, {best['where']}): worth {best['value']:,.0f} "
                         f"{questions['currency']} for {best['hours']:g} h; {len(asked)} questions in all.", "")  # fmt: skip
    elif asked:
        lines += wrapped(f"{len(asked)} questions keep verdicts open; no answer would change what is done now.", "")
    return lines


def verify(answer: dict[str, Any]) -> str:
    """What changed since a study was saved."""
    if answer["same"]:
        return f"The same, to the last digit (hash {answer['hash'][:16]})."
    lines = [*answer["notes"], f"{answer['differences_found']} differences:"]
    return "\n".join([*lines, *(f"  {line}" for line in answer["differences"])])


def checks(answer: dict[str, Any]) -> str:
    """The table of outside checks."""
    width = max((len(c["name"]) for c in answer["checks"]), default=10)
    lines = []
    for c in answer["checks"]:
        obtained = "-" if c["obtained"] is None else _figure(c["obtained"])
        unit = f" {c['unit']}" if c["unit"] else ""
        lines.append(f"{c['result']:<8}{c['name']:<{width}}  {_figure(c['expected']):>12}{obtained:>14}{unit:<12}  {c['source']}")
    results = [c["result"] for c in answer["checks"]]
    skipped = sum(result.startswith("skipped") for result in results)
    lines += ["", f"{results.count('pass')} pass, {results.count('fail')} fail, {skipped} skipped."]
    return "\n".join(lines)


def _figure(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _steps(steps: list[dict[str, Any]]) -> list[str]:
    out, group = [], None
    for s in steps:
        if s["group"] != group:
            group = s["group"]
            if group:
                out += ["", group]
        out += _step(s)
    return out


def _step(s: dict[str, Any]) -> list[str]:
    """One step: on one line where it fits, else expression, numbers and value below one another; then the source."""
    value = "" if s["value"] is None else f"= {s['value']:.6g} {s['unit']}".rstrip()
    if s["expression"]:
        parts = [f"= {s['expression']}", f"= {s['substituted']}", value]
    else:
        parts = [part for part in (f": {s['substituted']}" if s["substituted"] else "", value) if part]
    head = f"  {s['symbol']}"
    line = " ".join([head, *parts]).replace(" : ", ": ", 1)
    lines = [line]
    if len(line) > WIDTH:
        indent = " " * (len(head) + 1)
        lines = [f"{head} {parts[0]}", *(indent + part for part in parts[1:])]
        lines = [short for long in lines for short in textwrap.wrap(long, WIDTH, subsequent_indent=indent + "  ") or [long]]
    return lines + textwrap.wrap(f"{s['name']} [{s['source']}]", WIDTH, initial_indent="      ", subsequent_indent="      ")


def wrapped(text: str, indent: str = "  ") -> list[str]:
    """A sentence within the width, its later lines hanging."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_long_words=False)
