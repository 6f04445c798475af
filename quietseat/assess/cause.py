"""Root cause: cure the root, not the symptom.

Order of proof: mechanical history, required rate, inlet, back pressure, operating ratio, fluid (practice rules of the
trade, estimate). The history names the hurt; the duty, the pipes and the pressures name what did it. Only a hurt that
none of them explains is its own root.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.assess.checks.common import View, near, percent
from quietseat.assess.checks.stability import CLOSED, by_balance
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
    for rule in (_too_small, _set_high, _pushed_shut, _chatter, _back_pressure, _tired_bellows, _close, _fluid, _hurt):
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
    return "undersized", f"Too small: the vessel needs {near(share, 1.0)[0]} of what the valve can pass, so its pressure would rise above what is allowed."


def _set_high(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    if "set-above-mawp" not in bad:
        return None
    share = bad["set-above-mawp"].value or 0.0
    return "set-above-mawp", f"Set too high: at {near(share, 1.0)[0]} of the vessel's MAWP the valve protects it too late."


def _chatter(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    """Oversize, inlet loss and chatter are one problem; a leak beside them is the injury."""
    if not {"oversized", "inlet-loss", "chatter", "cycling"} & bad.keys():
        return None
    hurt = _injury(view, bad, "chatter")
    if "oversized" in bad:
        if not bad["oversized"].value:
            return "oversized", f"No stated case needs it to pass anything: is the valve needed at all? {hurt}".strip()
        use = near(bad["oversized"].value, view.basis.oversize_utilisation)[0]
        if "inlet-loss" in bad:
            words = f"Too big on too tight an inlet: it needs {use} of what it can pass and {_starved(bad)}, so it slams shut and opens again"
            return "chatter", f"{words}. {hurt}".strip()
        if "chatter" in bad:
            why = "it starves itself as it pops" if by_balance(view.stability) else "its inlet line sets the disc swinging"
            words = f"Too big for the duty, and {why}: it needs {use} of what it can pass"
            return "chatter", f"{words}. {hurt}".strip()
        how = "pops and slams shut again and again" if "cycling" in bad else "cannot hold itself open"
        return "oversized", f"Too big for the duty: it needs {use} of what it can pass, so it {how}. {hurt}".strip()
    if "inlet-loss" in bad:
        shuts = ", so it shuts as soon as it opens" if "chatter" in bad else ", so it cannot stay open steadily"
        if "chatter" in bad and by_balance(view.stability) and _parts(view)[0][1] != "inlet loss":
            shuts = f"; with {_parts(view)[0][1]} on top it shuts as soon as it opens"
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
    if by_balance(found):
        return f"It starves itself as it pops: {_taken(view)} uses up its blowdown."
    if found.verdict == "chatters" and view.chatter is not None and found.judged_by != CLOSED:
        odds = percent(view.chatter.chatter_probability or 0.0)
        return f"Pressure waves in the inlet line drive the disc onto its seat: {odds} of the draws chatter."
    if found.verdict == "chatters":
        times = (found.inlet_length or 0.0) / (found.critical_length or 1.0)
        return f"The inlet line is {times:.2g} times too long: pressure waves in it drive the disc onto its seat."
    return "The plant hears it hammer, and the calculation cannot rule it out."


def _parts(view: View) -> list[tuple[float, str]]:
    """What the force balance is made of, largest first: Pa and words."""
    found, balanced = view.stability, view.location.valve.kind != "conventional"
    used, wave = found.force_balance_used or 0.0, found.wave_drop or 0.0
    ready = [(c.inlet_loss or 0.0, 0.0 if balanced else c.result.built_up or 0.0) for c in view.cases if c.result.full_flow]
    loss, back = min(ready, key=lambda pair: abs(used - wave - sum(pair)), default=(0.0, 0.0))
    parts = [(wave, "the pressure wave of its own opening"), (back, "back pressure"), (loss, "inlet loss")]
    return sorted(parts, key=lambda part: -part[0])


def _taken(view: View) -> str:
    """The parts of the force balance in words, the largest named first; small ones are left out."""
    parts = _parts(view)
    total = sum(part for part, _ in parts)
    names = [name for part, name in parts if part >= 0.15 * total]
    return names[0] if len(names) == 1 else f"{names[0]}, with {' and '.join(names[1:])},"


def _pushed_shut(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    """Chatter of a conventional valve that its own back pressure causes: the back pressure is the root."""
    if not {"back-pressure", "chatter"} <= bad.keys() or "oversized" in bad:
        return None
    largest, *others = _parts(view)
    if not by_balance(view.stability) or largest[1] != "back pressure":
        return None
    loss = next(part for part, name in others if name == "inlet loss")
    if "inlet-loss" in bad and loss > 0.5 * (view.stability.force_balance_allowed or 0.0):
        return None  # the inlet is proved before the back pressure, unless it is the lesser evil
    built_up = percent(largest[0] / (view.set_gauge or 1.0))
    words = f"Back pressure shuts it as it opens: {built_up} of set builds up in its own outlet line and uses up its blowdown"
    return "back-pressure", f"{words}. {_injury(view, bad, 'back-pressure')}".strip()


def _tired_bellows(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    """A bellows that fails again and again under a back pressure only its maker could allow."""
    if "bellows" not in bad or view.location.valve.kind != "bellows" or not view.set_gauge:
        return None
    share = max((view.basis.gauge(c.result.back_pressure) / view.set_gauge for c in view.cases if c.result.back_pressure), default=0.0)
    if share <= view.basis.bellows_limit:
        return None
    words = f"Back pressure wears the bellows out: {percent(share)} of set, more than the {percent(view.basis.bellows_limit)} it takes freely"
    return "back-pressure", f"{words}. {_injury(view, bad, 'back-pressure')}".strip()


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
    words = f"The plant runs at {near(share, bad['close-to-set'].limit or share)[0]} of set, too close: {end}"
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
    "stuck": "It opens late or not at all, and neither duty nor pipes explain it: look at trim, guide and alignment.",
    "bellows": "The bellows fails again and again and no pressure explains it: look at corrosion, fatigue and the bonnet vent.",
    "corrosion": "It pops low: the spring is weakened, the setting has moved, or the test was wrong.",
    "leaks": "The seat leaks and no duty explains it: look at debris, piping load and the last overhaul.",
}


def _hurt(view: View, bad: dict[str, Finding]) -> tuple[str, str] | None:
    if "rating" in bad:
        said = bad["rating"].words.removesuffix(" (from memory: verify)")
        return "rating", f"Set or heated beyond its rating: {said}."
    return next(((code, words) for code, words in _PLAIN.items() if code in bad), None)
