"""Serving a workspace on this machine."""

from __future__ import annotations

import sys
from pathlib import Path

from quietseat.store import open_workspace
from quietseat.web.app import make_app


def serve(folder: str | Path, host: str, port: int) -> None:
    """Serve the workspace of a folder until it is interrupted. Raises InputUnusable where the folder cannot be used."""
    import uvicorn

    sys.setswitchinterval(0.001)  # a page waits its turn beside a register being read: ten short waits, no long ones
    workspace = open_workspace(folder)
    app = make_app(workspace, hosts=frozenset((host,)))
    print(f"The workspace {workspace.folder} is open at http://{host}:{port}/ (end with Ctrl-C).", flush=True)
    uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False)
