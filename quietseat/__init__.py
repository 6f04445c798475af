"""Find the troubled relief valves of a plant register, prove the cause, choose the cheapest cure.

Five verbs, loaded when first used: read, assess, propose, rank, report.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.5.1"
__all__ = ["__version__", "assess", "propose", "rank", "read", "report"]

_VERBS = {
    "read": ("quietseat.register", "read"),
    "assess": ("quietseat.assess", "assess"),
    "propose": ("quietseat.lifecycle", "propose"),
    "rank": ("quietseat.planning", "rank"),
    "report": ("quietseat.report", "write"),
}


def __getattr__(name: str) -> Any:
    if name in _VERBS:
        module, verb = _VERBS[name]
        return getattr(import_module(module), verb)
    raise AttributeError(f"module 'quietseat' has no attribute {name!r}")
