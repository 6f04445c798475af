"""Root cause: cure the root, not the symptom.

Order of proof: mechanical history, required rate, inlet, back pressure, operating ratio, fluid (practice rules of the
trade, estimate). The history names the hurt; the duty, the pipes and the pressures name what did it. Only a hurt that
none of them explains is its own root.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.assess.checks.common import View, percent
from quietseat.model import Finding

# What each root does to a valve; anything else that hurts beside it needs a cause of its own.
HARM = {
    "chatter": ("leaks", "bellows", "stuck", "corrosion"),
    "back-pressure": ("bellows", "leaks"),
    "close-to-set": ("leaks",),
}
_NAMES = {"leaks": "the leak", "bellows": "the broken bellows", "stuck": "the sticking", "corrosion": "the low pop"}


@dataclass(frozen=True, slots=True)
class Cause:
    """The root cause in a plant engineer's words, its code, and the evidence."""

    code: str = ""
    words: str = ""
    evidence: tuple[str, ...] = ()


def root_cause(view: View, findings: tuple[Finding, ...]) -> Cause:
    """The most likely root of what fails; empty where nothing fails."""
    bad = {f.code: f for f in reversed(findings) if f.outcome == "fail"}
    if not bad:
        return Cause()
    evidence = tuple([f.words for f in findings if f.outcome == "fail"])
    for rule in (_too_small, _set_high, _chatter, _back_pressure, _close, _fluid, _hurt):
        found = rule(view, bad)
        if found is not None:
            return Cause(found[0], found[1], evidence)
    return Cause("data", "Fails a check; the findings say which.", evidence)


def _too_small(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    if "undersized" not in bad:
        return None
    share = bad["undersized"].value
    if share is None:
        return "undersized", "The inlet line is too narrow for the relief rate, so the vessel pressure would rise above what is allowed."
    return "undersized", f"Too small: the vessel needs {percent(share)} of what the valve can pass, so its pressure would rise above what is allowed."


def _set_high(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    if "set-above-mawp" not in bad:
        return None
    share = bad["set-above-mawp"].value or 0.0
    return "set-above-mawp", f"Set too high: at {percent(share)} of the vessel's MAWP the valve protects it too late."


def _chatter(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    """Oversize, inlet loss and chatter are one problem; a leak beside them is the injury."""
    if not {"oversized", "inlet-loss", "chatter", "cycling"} & bad.keys():
        return None
    hurt = _injury(view, bad, "chatter")
    if "oversized" in bad:
        if not bad["oversized"].value:
            return "oversized", f"No stated case needs it to pass anything: is the valve needed at all? {hurt}".strip()
        use = percent(bad["oversized"].value)
        if "inlet-loss" in bad:
            words = f"Too big on too tight an inlet: it needs {use} of what it can pass and {_starved(bad)}, so it slams shut and opens again"
            return "chatter", f"{words}. {hurt}".strip()
        if "chatter" in bad:
            words = f"Too big for the duty, with an inlet line that sets the disc swinging: it needs {use} of what it can pass"
            return "chatter", f"{words}. {hurt}".strip()
        how = "pops and slams shut again and again" if "cycling" in bad else "cannot hold itself open"
        return "oversized", f"Too big for the duty: it needs {use} of what it can pass, so it {how}. {hurt}".strip()
    if "inlet-loss" in bad:
        shuts = ", so it shuts as soon as it opens" if "chatter" in bad else ", so it cannot stay open steadily"
        return "inlet-loss", f"The inlet line starves the valve: {_starved(bad)}{shuts}. {hurt}".strip()
    if "chatter" in bad:
        return "chatter", f"{_swings(view, bad)} {hurt}".strip()
    return "cycling", f"It opens, empties the vessel and shuts, again and again. {hurt}".strip()


def _starved(bad: dict[str, Finding]) -> str:
    loss = bad["inlet-loss"].value
    return "the line chokes" if loss is None else f"{percent(loss)} of set is lost on the way"


def _swings(view: View, bad: dict[str, Finding]) -> str:
    found = view.stability
    if found.verdict == "flutters":
        return "The protected volume is so small that it swings with the disc."
    if found.verdict == "chatters" and found.force_balance_used and (found.force_balance_allowed or 0) < found.force_balance_used:
        if "back-pressure" in bad:
            return "It starves itself as it pops: inlet loss, pressure wave and back pressure together use up its blowdown."
        return "It starves itself as it pops: inlet loss and pressure wave together use up its blowdown."
    if found.verdict == "chatters":
        return "The inlet line is too long: pressure waves in it drive the disc onto its seat."
    return "The plant hears it hammer, and the calculation cannot rule it out."


def _dirty(view: View) -> list[str]:
    service = view.location.service
    names = {"fouling": "dirty", "polymerising": "polymerising", "viscous": "waxy or viscous", "hydrates": "hydrate-forming"}
    return [word for name, word in names.items() if getattr(service, name)]


def _injury(view: View, bad: dict[str, Finding], root: str) -> str:
    """What the root broke, and what stands beside it with a cause of its own."""
    dirty = bool(_dirty(view)) or "fouling" in bad
    service = view.location.service
    own = {"stuck"} if dirty or service.corrosive or service.sour else set()
    if "corrosion" in bad and bad["corrosion"].value is None:  # seen, not a low pop
        own.add("corrosion")
    hurt = [code for code in HARM[root] if code in bad and code not in own]
    words = ""
    if hurt:
        names = " and ".join([_NAMES[code] for code in hurt]).capitalize()
        verb, noun = ("are", "injuries") if len(hurt) > 1 else ("is", "injury")
        words = f"{names} {verb} the {noun}, not the illness: repair alone brings {'them' if len(hurt) > 1 else 'it'} back."
    if own & bad.keys() or "fouling" in bad:
        besides = "the fluid fouls or corrodes it as well"
        words = f"{words.rstrip('.')}; {besides}." if words else f"{besides.capitalize()}."
    return words


def _back_pressure(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    if "back-pressure" not in bad:
        return None
    share, kind = bad["back-pressure"].value, view.location.valve.kind
    if share is None:
        words = "The outlet side is not made for this valve: its line or its missing backflow preventer lets pressure act backwards"
    elif kind == "conventional":
        words = f"Back pressure of {percent(share)} of set pushes the valve shut again or shifts its opening"
    else:
        words = f"Back pressure of {percent(share)} of set is more than a {kind} valve can balance"
    return "back-pressure", f"{words}. {_injury(view, bad, 'back-pressure')}".strip()


def _close(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    if "close-to-set" not in bad:
        return None
    share = bad["close-to-set"].value
    if share is None:
        return "close-to-set", "Alarm or trip comes only after the valve has opened."
    end = "it simmers" if share < 1 else "it stands open or blows all the time"
    if "reseat" in bad["close-to-set"].words and share < 1:
        end = "once open it cannot shut again"
    words = f"The plant runs at {percent(share)} of set, too close: {end}"
    return "close-to-set", f"{words}. {_injury(view, bad, 'close-to-set')}".strip()


def _fluid(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    """Fouling, polymer, wax or corrosion as the root of sticking and leaking."""
    service, dirty = view.location.service, _dirty(view)
    if "fouling" in bad or (dirty and {"stuck", "leaks"} & bad.keys()):
        end = "holds the disc" if "stuck" in bad else "lodges on the seat, so it leaks after each lift" if "leaks" in bad else "plugs it"
        return "fouling", f"The fluid fouls the valve: {' and '.join(dirty) or 'deposit-laden'} service {end}."
    if {"stuck", "corrosion"} & bad.keys() and (service.corrosive or service.sour):
        end = "holds the disc" if "stuck" in bad else "weakens spring and trim"
        return "corrosion", f"Corrosion {end}: {'sour' if service.sour else 'corrosive'} service in the wrong trim."
    return None


_PLAIN = {
    "rating": "Pressure or temperature is above what a flange or the body is rated for.",
    "stuck": "It opens late or not at all, and neither duty nor pipes explain it: look at trim, guide and alignment.",
    "bellows": "The bellows fails again and again and no pressure explains it: look at corrosion, fatigue and the bonnet vent.",
    "corrosion": "It pops low: the spring is weakened, the setting has moved, or the test was wrong.",
    "leaks": "The seat leaks and no duty explains it: look at debris, piping load and the last overhaul.",
}


def _hurt(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    return next(((code, words) for code, words in _PLAIN.items() if code in bad), None)
