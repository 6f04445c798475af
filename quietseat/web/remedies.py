"""The remedies of a valve side by side: what each clears, leaves and creates, its fit, its price, and why it lost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup

from quietseat.report import drawing, tried
from quietseat.report.document import Figure
from quietseat.report.money import npv_range
from quietseat.report.words import CLEARS_NOTHING, DASH, Shown, clears, codes, is_number, percent
from quietseat.web.site import blocks
from quietseat.web.steps import Trail

SHAPES = {"yes": "●", "subject-to-proof": "▲", "no": "▬"}  # the marks of the drawing of cost ranges
_NO_CURE = "◇"  # of what changes nothing at the valve
LEAST, MOST = 2, 4  # remedies compared at once
_WIDTH, _HEIGHT, _EDGE = 180.0, 22.0, 6.0


def part(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: Sequence[str]) -> dict[str, Any]:
    """What the part Remedies shows. tick: names to lay side by side; none: the recommended one and its nearest rivals."""
    remedies: Sequence[Mapping[str, Any]] = tried.folded(valve.get("remedies") or ())
    known = [str(one["name"]) for one in remedies]
    ticked = [name for name in dict.fromkeys(tick) if name in known][:MOST] or _usual(valve, remedies)
    top = max((one["cost"]["total"]["high"] for one in remedies if one.get("cost")), default=0.0)
    lines = [_line(one, valve, units, trail.plant, top, str(one["name"]) in ticked) for one in remedies]
    return {
        "lines": lines, "side": [_card(line, one, valve, units, trail.head) for line, one in zip(lines, remedies) if line["ticked"]], "ticked": ticked,
        "too_many": len(set(tick)) > MOST, "most": MOST, "scale_end": units.money(top) if top else "", "measure": to_measure(valve),
    }  # fmt: skip


def to_measure(valve: Mapping[str, Any]) -> list[str]:
    """What has to be measured or stated before anything can be said to fail; empty where something is proven to fail, or nothing is open."""
    first = next((one for one in valve.get("remedies") or () if one["name"] == valve.get("recommended") == "measure-first"), None)
    return [words for words in str((first or {}).get("condition") or "").split("; ") if words]


def _stands(one: Mapping[str, Any]) -> bool:
    """Whether this answer changes nothing at the valve, because nothing is proven to fail."""
    return one["name"] in CLEARS_NOTHING and one["clears"] != "no"


def _usual(valve: Mapping[str, Any], remedies: Sequence[Mapping[str, Any]]) -> list[str]:
    """The recommended remedy, the best that clears for certain, then what stands next in the list."""
    first = [str(name) for name in (valve.get("recommended"), valve.get("best_yes")) if name]
    rest = [str(one["name"]) for one in remedies if one.get("cost")]
    known = {str(one["name"]) for one in remedies}
    return [name for name in dict.fromkeys((*first, *rest)) if name in known][:3]


def _line(
    one: Mapping[str, Any], valve: Mapping[str, Any], units: Shown, plant: int, top: float, ticked: bool
) -> dict[str, Any]:
    cost, life, fit = one.get("cost") or {}, one.get("life_cycle") or {}, one.get("fit") or {}
    return {
        "name": one["name"], "title": one["title"], "clears": clears(one["clears"], one["name"]), "cures": not _stands(one),
        "shape": _NO_CURE if _stands(one) else SHAPES[one["clears"]], "cleared": codes(one.get("cleared")), "left": codes(one.get("left")),
        "created": codes(one.get("created")), "recommended": one["name"] == valve.get("recommended"), "best_yes": one["name"] == valve.get("best_yes"),
        "condition": one.get("condition") or "", "question": one.get("question") or "", "why": one.get("rejected_because") or "", "ticked": ticked,
        "fit": fit.get("verdict") or DASH, "cost": units.spread(cost["total"]) if cost else "not priced", "bar": bar(cost.get("total"), top, "no" if _stands(one) else one["clears"]),
        "npv": npv_range(life, units), "pays": DASH if _stands(one) else percent(life.get("probability_pays")), "hours": cost.get("crew_hours"), "outage": cost.get("outage_hours"),
        "link": f"/plant/{plant}/valve?{urlencode({'tag': valve['tag'], 'part': 'remedies', 'tick': one['name']})}",
    }  # fmt: skip


def _card(
    line: Mapping[str, Any], one: Mapping[str, Any], valve: Mapping[str, Any], units: Shown, head: Mapping[str, Any]
) -> dict[str, Any]:
    fit, suits = one.get("fit") or {}, one.get("suitability") or {}
    pictured = picture(valve, one, head)
    return {
        **line, "fit_words": fit.get("words") or "", "differences": _differences(fit, units), "flanges": fit.get("flanges") or (),
        "suits": suits.get("verdict") or DASH, "suits_words": [*(suits.get("reasons") or ()), *(suits.get("conditions") or ())],
        "picture": blocks([pictured]) if pictured else "", "to_measure": "" if pictured else drawing.to_measure(fit),
        "parts": [(name, units.spread((one.get("cost") or {}).get(name))) for name in ("capital", "work", "upkeep", "leakage", "carbon", "other")
                  if _any((one.get("cost") or {}).get(name))],
        "work": [(item["item"], _hours(item["hours"]), units.spread(item["money"]) if _any(item["money"]) else DASH, item["outage"]) for item in one.get("work") or ()],
        "dxf": f"fit.dxf?{urlencode({'tag': valve['tag'], 'remedy': one['name']})}" if pictured else "",
    }  # fmt: skip


def picture(valve: Mapping[str, Any], one: Mapping[str, Any], head: Mapping[str, Any]) -> Figure | None:
    """The fit drawing of a remedy; None where no new body goes in or a length is not known."""
    fit = one.get("fit")
    if not drawing.has_drawing(fit) or fit is None or fit["verdict"] == "same body":
        return None
    return drawing.fit_drawing(
        str(valve["tag"]), str(one["title"]), fit, valve.get("valve") or {}, str(head.get("hash") or "")
    )


def _any(spread: Mapping[str, Any] | None) -> bool:
    return bool(spread and (spread.get("high") or spread.get("low")))


def _hours(spread: Mapping[str, Any]) -> str:
    return f"{spread['low']:g} to {spread['high']:g}" if _any(spread) else DASH


def _differences(fit: Mapping[str, Any], units: Shown) -> list[tuple[str, str]]:
    """By how much the new faces stand elsewhere, in words and millimetres."""
    out = []
    for key, words in (
        ("difference_inlet_m", "inlet face to outlet centre line"),
        ("difference_outlet_m", "outlet face to inlet centre line"),
    ):
        value = fit.get(key)
        if is_number(value):
            text = units.quantity(abs(value), "m")
            out.append((words, "no difference" if not value else f"{text} {'longer' if value > 0 else 'shorter'}"))
    if is_number(fit.get("spool_length_m")):
        out.append(("spool piece", units.quantity(fit["spool_length_m"], "m")))
    return out


def bar(total: Mapping[str, float] | None, top: float, word: str) -> Markup:
    """Low to high of a cost as a bar from zero to the dearest high end; the mark stands at the middle. Empty where nothing is priced."""
    if not total or top <= 0:
        return Markup("")
    low, mid, high = (_EDGE + (_WIDTH - 2 * _EDGE) * max(0.0, total[key]) / top for key in ("low", "mid", "high"))
    y = _HEIGHT / 2
    marks = {
        "yes": f'<circle cx="{mid:.1f}" cy="{y}" r="5"/>', "subject-to-proof": f'<path d="M{mid:.1f} {y - 6} l6 10.5 h-12 Z"/>',
        "no": f'<rect x="{mid - 2:.1f}" y="{y - 6}" width="4" height="12"/>',
    }  # fmt: skip
    return Markup(  # numbers only
        f'<svg class="range range-{word if word in marks else "no"}" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" width="{_WIDTH:g}" height="{_HEIGHT:g}" '
        f'aria-hidden="true"><line class="axis" x1="{_EDGE}" y1="{y}" x2="{_WIDTH - _EDGE}" y2="{y}"/>'
        f'<line class="span" x1="{low:.1f}" y1="{y}" x2="{high:.1f}" y2="{y}"/>{marks.get(word, marks["no"])}</svg>'
    )
