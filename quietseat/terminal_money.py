"""What `leak`, `cost`, `plan` and `ask` say to a person in a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quietseat.terminal import wrapped


def leak(answer: Mapping[str, Any]) -> str:
    """All bases side by side, the one that applies marked, and what it comes to in a year."""
    lines = [f"{answer['tag']}: where it goes: {answer['route_words']}", "", "kg an hour, low / middle / high (* = applies):"]
    for one in answer["bases"]:
        lines.append(f" {'*' if one['applies'] else ' '} {one['basis']:<11}{_rates(one)}")
        year, sure = (f" ({one['year']})" if one["year"] else ""), (f", {one['confidence']}" if one["confidence"] else "")
        lines += wrapped(f"{one['why']} [{one['source']}{year}{sure}]", "      ")
    for part in answer["parts"]:
        lines += wrapped(f"beside the seat: {part['name'].replace('-', ' ')}{_rates(part)} kg/h: {part['words']}")
    lines += [
        "", f"Product lost: {_range(answer['product_kg_a'])} kg a year", f"Carbon: {_range(answer['co2e_kg_a'])} kg CO2 equivalent a year "
        f"({answer['gwp']['set']}, basis {answer['co2e_kg_a']['basis']})",
    ]  # fmt: skip
    lines += _tail(answer)
    lines += wrapped("An estimate from factors is no measurement: survey the valve before money or a report rests on it.", "")
    return "\n".join(lines)


def _rates(one: Mapping[str, Any]) -> str:
    values = [one["low_kg_s"], one["mid_kg_s"], one["high_kg_s"]]
    return "".join(f"{'-' if value is None else f'{3600 * value:.3g}':>10}" for value in values)


def _range(found: Mapping[str, Any]) -> str:
    return f"{found['mid']:.4g} ({found['low']:.4g} to {found['high']:.4g})"


def cost(answer: Mapping[str, Any]) -> str:
    """Parts of the life cycle, totals with their range, and whether the remedy pays."""
    lines = [f"{answer['tag']}: {answer['title']} ({answer['remedy']}), clears: {answer['clears']}"]
    if answer["status"] != "ok":
        return "\n".join([*lines, *[line for problem in answer["problems"] for line in wrapped(problem["rule"], "")]])
    lines += ["", f"Present value over {answer['horizon_years']:g} years at {100 * answer['discount_rate']:g} %, {answer['currency']} of "
                  f"{answer['cost_year']}:", f"  {'':<44}{'this':>12}{'as it is':>12}"]  # fmt: skip
    kept = {part["name"]: part["present_value"]["mid"] for part in answer["keep_parts"]}
    for part in answer["parts"]:
        if part["present_value"]["mid"] or kept.get(part["name"]):
            lines.append(f"  {part['title'][:43]:<44}{part['present_value']['mid']:>12,.0f}{kept.get(part['name'], 0.0):>12,.0f}")
    lines.append(f"  {'total, middle values':<44}{answer['total']['mid']:>12,.0f}{answer['keep_total']['mid']:>12,.0f}")
    for key, name in (("p10", "one in ten is below"), ("p50", "half are below"), ("p90", "nine in ten are below")):
        lines.append(f"  {f'total: {name}':<44}{answer['total'][key]:>12,.0f}{answer['keep_total'][key]:>12,.0f}")
    npv = answer["npv"]
    lines.append("")
    lines += wrapped(
        f"Against leaving it as it is: {npv['p50']:,.0f} {answer['currency']} in the middle, {npv['p10']:,.0f} to {npv['p90']:,.0f} "
        f"in eight of ten draws; it pays in {100 * answer['probability_pays']:.0f} % of {answer['draws']} draws.", "",
    )  # fmt: skip
    if answer["remedy"] != "keep":
        for key in ("break_even_leak_words", "break_even_operating_gain_words"):
            lines += wrapped(answer[key], "  ")
    for swing in answer["tornado"][:5]:
        lines += wrapped(f"turns on {swing['input']}: {swing['npv_low']:,.0f} to {swing['npv_high']:,.0f}")
    return "\n".join([*lines, *_tail(answer)])


def plan(answer: Mapping[str, Any]) -> str:
    """What is done when, what is left out and why, and what to do meanwhile."""
    money = answer["currency"]
    lines = wrapped(answer["words"], "")
    for one in answer["chosen"]:
        lines += wrapped(f"{one['window']}: {one['tag']}: {one['title']}, {one['cost']['mid']:,.0f} {money}, {one['hours']:.0f} h: {one['why']}")
    if answer["left_out"]:
        lines += ["", f"Left out ({len(answer['left_out'])}):"]
        for one in answer["left_out"][:20]:
            lines += wrapped(f"{one['tag']}: {one['reason']}" + (f"; {one['counterfactual']}" if one["counterfactual"] else ""))
    if answer["interim"]:
        lines += ["", "Meanwhile:"]
        for one in answer["interim"]:
            lines += wrapped(f"{one['tag']} ({one['until']}): {'; '.join(measure['measure'] for measure in one['measures'])}")
    return "\n".join([*lines, *_tail(answer)])


def ask(answer: Mapping[str, Any]) -> str:
    """The most rewarding questions, who walks where, and the files."""
    questions = answer["questions"]
    if not questions:
        return f"Nothing to ask of {answer['valves_asked']} valves: no missing or doubtful value would change a decision."
    lines = [f"{len(questions)} questions; worth in {answer['currency']} for knowing before deciding:"]
    for one in questions[:25]:
        worth = "not valued" if one["value"] is None else f"{one['value']:,.0f} for {one['hours']:g} h"
        lines += wrapped(f"{one['tag']}: {one['title']} ({one['who']}, {one['where']}): {worth}. {one['reason']}")
    lines += ["", "Who walks where:"]
    lines += [f"  {one['who']}, {one['where']}: {one['count']} questions, {one['hours']:g} h" for one in answer["visits"]]
    return "\n".join([*lines, *answer["notes"], "", "Written: " + ", ".join(answer["files"])])


def _tail(answer: Mapping[str, Any]) -> list[str]:
    """Assumptions, notes and problems."""
    lines: list[str] = []
    for title, texts in (
        ("Assumed:", [f"{a['field']}: {a['value']} ({a['rule']})" for a in answer["assumptions"]]),
        ("Mind:", list(answer.get("notes", ()))),
        ("Problems:", [f"{p['field'] or ''}: {p['rule']}" for p in answer["problems"]]),
    ):
        if texts:
            lines += ["", title, *[line for text in texts for line in wrapped(text)]]
    return lines
