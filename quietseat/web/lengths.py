"""What a valve's stability is judged by, in words: which critical length is which and why they differ, and when opening and shutting counts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quietseat.report.words import DASH, choice_number, choices, is_number, percent, sentence

_CLOSED = "closed form"
_NO_LIFT = (
    "At the smallest flow no lift holds the disc, so both take the popped valve at 0.6 of its lift, where each has its own moving parts and flow areas: "
    "the two may then lie far apart."
)
_WHY = (
    "They may differ: closed form takes the lift from a curve of constant disc area, with the built-up back pressure of the steps; the marched model takes it from "
    "its own disc, flow areas and body, with the middle of every range nobody stated. Both lengths rest on a moving mass that is mostly an estimate."
)


def critical(valve: Mapping[str, Any], head: Mapping[str, Any], step: str) -> dict[str, Any]:
    """What the part Stability says of critical lengths. step: address of the step that gives the one of closed form, "" for none."""
    closed, marched = valve.get("stability") or {}, valve.get("chatter") or {}
    own, its = closed.get("critical_length_m"), marched.get("critical_length_m")
    longest = (marched.get("limits") or {}).get("longest_quiet_inlet_m")
    rests = str(closed.get("judged_by") or _CLOSED)
    if marched.get("status") != "ok" or not any(is_number(one) for one in (own, its, longest)):
        return {"lengths": [], "lengths_why": ""}
    lines = [{
        "name": "Critical length, closed form", "value": _length(own), "href": step, "said": "",
        "what": "Linear quarter-wave theory: the shortest inlet line whose gas or liquid column drives the disc, at the lift that passes the smallest credible flow.",
        "rests": "yes: closed form judged this valve" if rests == _CLOSED else "no: it only said that the valve had to be marched",
    }, {
        "name": "Critical length, marched model", "value": _length(its), "href": "", "said": "",
        "what": "The same quarter wave for the valve that was marched: its own lift, disc, flow areas and back pressure in the body, middle values of what nobody stated.",
        "rests": f"yes, with the share of draws that end badly: the line must be shorter than {_share(head)} of it" if rests != _CLOSED else "no: closed form judged this valve",
    }, {
        "name": "Longest quiet inlet, marched", "value": _length(longest), "href": "", "said": _searched(marched),
        "what": "Found by trying lengths up to four times the present one with the verdict rule itself, and marching again beside the bound.",
        "rests": "no: it is what would still pass",
    }]  # fmt: skip
    no_lift = any(str(one.get("symbol")) == "x" and "no lift passes" in str(one.get("substituted")) for one in valve.get("steps") or ())
    why = (_NO_LIFT if no_lift else _WHY) if is_number(own) and is_number(its) else ""
    return {"lengths": lines, "lengths_why": why, "present": _length(marched.get("inlet_length_m") or closed.get("inlet_length_m"))}


def judged(valve: Mapping[str, Any], head: Mapping[str, Any]) -> str:
    """What the verdict on stability was judged by, and why the valve was or was not marched in time."""
    closed, seen = valve.get("stability") or {}, valve.get("chatter") or {}
    if seen:
        doubt = f", because {valve['chatter_doubt']}" if valve.get("chatter_doubt") else ""
        return f"Judged by {closed.get('judged_by') or _CLOSED}; the numbers of closed form stand beside it. Marched in time{doubt}."
    if closed.get("status") not in (None, "ok"):
        return "Not judged, and not marched in time: both need data that are missing here."
    if closed.get("verdict") != "unproven":
        return "Judged by closed form, which left no doubt; so the valve was not marched in time."
    if choices(head).get("time_marching") == "none":
        return "Judged by closed form, which leaves a doubt; the Basis of this study marches no valve in time."
    return "Judged by closed form, which leaves a doubt; this study did not march the valve in time (a first look, or more valves in doubt than it marches)."


def cycling(valve: Mapping[str, Any], head: Mapping[str, Any]) -> str:
    """Why draws that open and shut do not make the verdict; "" where there are none, or they do."""
    seen = valve.get("chatter") or {}
    share = seen.get("cycling_probability")
    if not is_number(share) or share < 0.05 or seen.get("verdict") not in ("quiet", "unproven"):
        return ""
    made = choices(head)
    own = "A snap pilot opens in full and shuts again at any flow below its rated one. " if (valve.get("valve") or {}).get("kind") == "pilot" else ""
    return (
        f"{own}Opening and shutting alone counts against a valve only where the required flow is below {made.get('cycling_utilisation', '30 %')} of the rated one "
        f"or one cycle takes less than {made.get('damaging_period', '1 s')} (choices cycling_utilisation and damaging_period of the Basis)."
    )


def _length(value: Any) -> str:
    return f"{value:.3g} m" if is_number(value) else DASH


def _searched(marched: Mapping[str, Any]) -> str:
    """What the search said of the length it found, or that it found none."""
    return next((sentence(words) for words in (marched.get("limits") or {}).get("words") or () if "inlet" in str(words)), "")


def _share(head: Mapping[str, Any]) -> str:
    return percent(choice_number(head, "critical_length_margin", "fraction", 0.7))
