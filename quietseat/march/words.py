"""Plain words of a chatter result: what the model predicts, why, and what would settle or cure it."""

from __future__ import annotations

WEIGH = "weigh the moving parts and rate-test the spring at the next overhaul"
FLOW_TEST = "set the rings and prove blowdown and opening by a flow test"
PILOT_PROOF = "the maker's proof of pilot and piston on this line"
INLET = "measure the inlet line: length, bores and fittings from the vessel to the valve"
VOLUME = "find out the volume that the valve protects"
FLOWS = "find out the smallest credible relief flow"
OUTLET = "a flow test with the outlet line in place, a shorter or wider outlet line, or a balanced bellows"

_MEASURE = {
    "moving mass": WEIGH, "spring rate": WEIGH, "mass of the bellows": WEIGH, "rate of the bellows": WEIGH,
    "full lift": "measure the full lift at the next overhaul",
    "blowdown": FLOW_TEST, "ring setting": FLOW_TEST, "lift where the disc area is full": FLOW_TEST,
    "curtain coefficient": FLOW_TEST, "nozzle coefficient": FLOW_TEST, "discharge coefficient": FLOW_TEST,
    "damping": "measure how fast the disc comes to rest on its spring at the next overhaul",
    "friction": "measure the guide friction at the next overhaul",
    "inlet length": INLET, "inlet loss": INLET, "vessel volume": VOLUME,
    "seat bore": "measure the seat bore at the next overhaul",
}  # fmt: skip

_DOES = {
    "quiet": "stays quiet",
    "flutters": "flutters (the disc swings without hitting its seat)",
    "chatters": "chatters (the disc hammers on its seat)",
    "cycles": "opens and shuts again and again",
    "unproven": "cannot be called",
}

_WHY = {
    "inlet wave": "pressure waves in the inlet line drive the disc",
    "inlet loss": "the inlet line loses more pressure than the blowdown allows, so the valve starves itself",
    "small vessel": "the protected volume is so small that it swings with the disc",
    "oversize": "it passes more than flows in, so it empties the vessel and shuts",
    "back pressure": "the pressure behind the disc shuts it again",
    "pilot": "the pilot switches the main valve to and fro",
    "nothing": "",
}


def measure_for(names: tuple[str, ...], pilot: bool) -> str:
    """The measurement that takes most of the doubt away; names = unknowns, the weightiest first."""
    if pilot:
        return PILOT_PROOF
    for name in names:
        if name in _MEASURE:
            return _MEASURE[name]
    return WEIGH


def percent(share: float) -> str:
    """A probability in words: at most two digits."""
    if share <= 0:
        return "none"
    return f"{100 * share:.0f} %" if share >= 0.095 else f"{100 * share:.1g} %"


def lengths(length: float | None, critical: float | None) -> str:
    """Inlet against critical length."""
    if length is None or critical is None:
        return ""
    return f"the inlet line ({length:.2g} m) is {length / critical:.2g} times the critical length ({critical:.2g} m)"


def explain(
    *, verdict: str, limited_by: str, count: int, shares: dict[str, float], interval: tuple[float, float] | None,
    length: float | None, critical: float | None, on_stop: bool, period: float | None, measure: str,
    sensitivities: tuple[tuple[str, float], ...], indicative: str, open_point: str, frequency: float | None,
    by_length: float | None,
) -> str:  # fmt: skip
    """Two to five sentences for the plant. by_length: the limit on the length ratio, where it alone made the verdict."""
    out: list[str] = []
    why = _WHY.get(limited_by, "")
    if count == 1:
        out.append(f"With the stated values the model predicts that the valve {_DOES[verdict]}{', because ' if why else ''}{why}.")
    else:
        low, high = interval or (0.0, 1.0)
        shake = shares["chatters"]
        bounds = f"{100 * low:.2g} to {100 * high:.2g} %"
        said = f"In {percent(shake)} of {count} draws of what nobody stated the valve chatters (95 % interval {bounds})"
        more = [f"flutters in {percent(shares['flutters'])}" if shares["flutters"] > 0.005 else "",
                f"only opens and shuts in {percent(shares['cycles'])}" if shares["cycles"] > 0.005 else ""]  # fmt: skip
        said += "".join(f", {part}" for part in more if part)
        if verdict == "unproven":
            out.append(f"Not proven quiet: {open_point or 'the draws disagree'}. {said}.")
        elif verdict == "quiet":
            out.append(f"The model predicts a quiet valve: {said[0].lower()}{said[1:]}.")
        else:
            out.append(f"The model predicts that the valve {_DOES[verdict]}{', because ' if why else ''}{why}. {said}.")
        if verdict == "unproven" and why and shake > 0.05:
            out.append(f"Where it chatters, it is because {why}.")
    held = on_stop and not (length and critical and length < critical)
    if held:
        out.append("At the smallest flow the disc rests on its upper stop, where waves cannot move it.")
    else:
        between = lengths(length, critical)
        if between:
            out.append(between[0].upper() + between[1:] + ".")
    if by_length is not None:
        out.append(f"That is beyond {by_length:g} times, which the verdict rule calls unstable although most draws stay calm.")
    if frequency and verdict in ("chatters", "flutters"):
        out.append(f"It moves at about {frequency:.2g} Hz.")
    if period is not None and (verdict == "cycles" or shares["cycles"] > 0.05):
        out.append(f"Where it opens and shuts it does so about every {period:.2g} s.")
    if indicative:
        out.append(f"Indicative only: {indicative}.")
    if sensitivities and verdict == "unproven":
        name, share = sensitivities[0]
        out.append(f"{name[0].upper() + name[1:]} explains {100 * share:.0f} % of the spread.")
    if verdict == "unproven" and measure:
        out.append(f"To settle it: {measure}.")
    return " ".join(out)
