"""Stability of relief valves: closed forms (screening) and exact linear theory (linear)."""
