"""The checks, one topic a module; each returns findings with an outcome."""
