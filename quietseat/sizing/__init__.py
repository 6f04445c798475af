"""Sizing of relief valves: API 520-1 (7E to 10E) and ISO 4126-7.

`size(request, choices, sheet)` gives the required area, `rated.flow_through` the flow of a given valve.
"""

from quietseat.sizing.calculate import size
from quietseat.sizing.request import Choices, Request, Result

__all__ = ["Choices", "Request", "Result", "size"]
