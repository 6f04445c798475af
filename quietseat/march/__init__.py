"""Valves marched in time: inlet line, disc, pilot and vessel, as lanes of one kernel."""
