"""Makers of small registers for the tests: nothing binary is kept in the repository."""
