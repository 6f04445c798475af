"""Random examples are drawn anew on a user's machine; CI repeats the same ones, so a red run can be repeated."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")
