"""Hydraulics of the inlet and outlet lines: resistance, loss, back pressure, sound, Mach."""

from __future__ import annotations
