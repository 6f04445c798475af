"""What a valve costs over its life: the words and tables of its section."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import plot
from quietseat.report.document import Block, Column, Figure, Fold, Prose, TableBlock
from quietseat.report.words import DASH, Shown, cut, is_number, leak_of, percent, plain

_BARS = 5  # bars of the tornado that are printed


def section(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """The life-cycle cost of the recommended remedy against keeping the valve; nothing where the study has none."""
    found = valve.get("money")
    if not found or not found.get("npv"):
        return
    currency = plain(found.get("currency"))
    yield Prose("What it costs over its life", "label")
    yield Prose(sentence(found, shown))
    blocks: list[Block] = [_parts(found, currency)]
    if found.get("tornado"):
        picture = tornado(str(valve["tag"]), found, currency)
        if picture:
            yield picture
        blocks.append(_tornado(found["tornado"][:_BARS], currency))
    yield Fold(f"Life-cycle cost, part by part: {plain(found.get('title'))}", tuple(blocks))


def whole(value: Any) -> str:
    """Money to the whole unit, so that printed parts add up to the printed total."""
    text = f"{round(value) + 0:,}" if is_number(value) else DASH
    return text.replace(",", "\u00a0").replace("-", "−")


def npv_range(found: Mapping[str, Any] | None, shown: Shown) -> str:
    """Net present value as middle (P10 to P90); a dash where there is none."""
    npv = (found or {}).get("npv")
    if not npv:
        return DASH
    middle, low, high = (shown.money(npv[key]).replace("-", "−") for key in ("mid", "p10", "p90"))
    return middle if low == middle == high else f"{middle} ({low} to {high})"


def sentence(found: Mapping[str, Any], shown: Shown) -> str:
    """Net present value, how likely the remedy pays, and what would make it pay."""
    currency = plain(found.get("currency"))
    said = [
        f"Against keeping the valve as it is, the recommended remedy has a net present value of {npv_range(found, shown)} {currency}, "
        f"middle and P10 to P90; above zero it pays. Probability that it pays: {percent(found.get('probability_pays'))}."
    ]  # fmt: skip
    leak, gain, rise = (found.get(f"break_even_{key}") for key in ("leak_kg_s", "operating_gain", "operating_gain_pa"))
    if found.get("break_even_leak_words"):
        rate = f" {leak_of(leak, shown)} {shown.flow}" if is_number(leak) else ""
        said.append(f"Break-even leak{rate}: {shown.rates(str(found['break_even_leak_words']))}.")
    if found.get("break_even_operating_gain_words"):
        worth = f" {shown.money(gain)} {currency} a year" if is_number(gain) else ""
        worth += f" (a rise of {shown.difference_of(rise)})" if is_number(rise) else ""
        said.append(f"Break-even operating gain{worth}: {found['break_even_operating_gain_words']}.")
    return " ".join(said)


def _parts(found: Mapping[str, Any], currency: str) -> TableBlock:
    keep = {part["name"]: part for part in found.get("keep_parts") or ()}
    rows: list[tuple[str, ...]] = []
    for part in found.get("parts") or ():
        before, after = _worth(keep.get(part["name"])), _worth(part)
        if before or after:
            rows.append(
                (str(part["title"]).capitalize(), whole(before), whole(after), cut(plain(part.get("source")), 80))
            )
    totals = [found.get(key) or {} for key in ("keep_total", "total")]
    rows.append(("Total, middle", *(whole(total.get("mid")) for total in totals), "sum of the parts"))
    rows.extend(
        (f"Total, {key.upper()}", *(whole(total.get(key)) for total in totals), "of the draws")
        for key in ("p10", "p50", "p90")
    )
    open_parts = [f"{part['title']} ({part['why_nothing']})" for part in found.get("parts") or ()
                  if str(part.get("why_nothing") or "").startswith("not computed")]  # fmt: skip
    horizon, rate = found.get("horizon_years"), percent(found.get("discount_rate"))
    return TableBlock(
        f"Present value by part over {plain(horizon)} years",
        (Column("Part", "wide"), Column(f"As it is, {currency}", "number"), Column(f"With the remedy, {currency}", "number"),
         Column("Source", "wide")), tuple(rows),
        note=f"Middle values at {rate} a year, in prices of {plain(found.get('cost_year'))}; earnings are negative. "
             f"P10, P50, P90 by {plain(found.get('draws'))} draws, seed {plain(found.get('seed'))}. The middle of this "
             "total is the whole-life cost that ranks the remedies: services fall in their years, failures, lifts and residual value are "
             "counted, and hours with the line open cost only beyond the planned window." + (f" Without: {'; '.join(open_parts)}." if open_parts else ""),
    )  # fmt: skip


def _worth(part: Mapping[str, Any] | None) -> float:
    value = ((part or {}).get("present_value") or {}).get("mid")
    return value if is_number(value) else 0.0


def tornado(tag: str, found: Mapping[str, Any], currency: str) -> Figure | None:
    """The bars of the tornado as a picture, the widest first; None where no bar has both ends."""
    middle = found["npv"].get("mid")
    bars = [bar for bar in found["tornado"][:_BARS] if is_number(bar.get("npv_low")) and is_number(bar.get("npv_high"))]
    if not bars or not is_number(middle):
        return None
    said = "; ".join(
        f"{cut(plain(bar.get('input')), 60)} from {_input(bar.get('low_input'))} to {_input(bar.get('high_input'))} {plain(bar.get('unit'))}: "
        f"{whole(bar['npv_low'])} to {whole(bar['npv_high'])}" for bar in bars
    )  # fmt: skip
    return Figure(
        plot.swings([(plain(bar.get("input")), bar["npv_low"], bar["npv_high"]) for bar in bars], middle, f"net present value, {currency}", whole),
        f"Tornado of {tag}: net present value in {currency}, {whole(middle)} with every input at its middle, one input at a time, widest first: "
        f"{said}.",
        f"What moves the net present value most: {len(bars)} of the inputs, each alone from its 10 % value (pale) to its 90 % value (dark), all "
        "others at their middle (thin line). Dashed: zero; to the right of it the remedy pays.",
    )  # fmt: skip


def _tornado(bars: Sequence[Mapping[str, Any]], currency: str) -> TableBlock:
    return TableBlock(
        "What moves the net present value most",
        (Column("Input", "wide"), Column("Unit"), Column("From", "number"), Column("To", "number"), *(
            Column(f"{words}, {currency}", "number") for words in ("Net present value from", "to", "Swing"))),
        tuple((plain(bar.get("input")), plain(bar.get("unit")), *(_input(bar.get(key)) for key in ("low_input", "high_input")),
               *(whole(bar.get(key)) for key in ("npv_low", "npv_high", "swing"))) for bar in bars),
        note="One input at a time at its 10 % and its 90 % value, all others at their middle.",
    )  # fmt: skip


def _input(value: Any) -> str:
    return whole(value) if is_number(value) and abs(value) >= 1000 else f"{value:.4g}" if is_number(value) else DASH
