"""The workspace in a browser, on this machine only: pages over the store; no engineering arithmetic."""
