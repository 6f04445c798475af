"""Which module starts a case: gas lines and liquid lines have columns of their own, with the same names."""

from __future__ import annotations

from types import ModuleType

from quietseat.march import liquid_start, start
from quietseat.march.cases import Gas, MarchCase


def starter(case: MarchCase) -> ModuleType:
    """The module that starts a case: `features_of`, `cells_of`, `column`, `foreseen_steps`, for a gas or for a liquid line."""
    return start if isinstance(case.fluid, Gas) else liquid_start
