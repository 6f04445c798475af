"""Pictures of every page of the workspace at two widths: `uv run python docs/shots.py FOLDER_OF_A_STUDIED_DEMO`.

Writes docs/pages/NAME-WIDTH.png. The folder is a workspace with the demo plant and its full study; it is copied, never changed.
"""

from __future__ import annotations

import shutil
import socket
import sys
import tempfile
import threading
import time
from pathlib import Path

from quietseat.store import open_workspace
from quietseat.web.app import make_app

HERE = Path(__file__).parent / "pages"
PAGES = {
    "plants": "/", "bring-in": "/plant/1/bring-in", "fleet": "/plant/1/fleet", "fleet-pictures": "/plant/1/fleet/pictures",
    "valve": "/plant/1/valve?tag=10-PSV-1005", "what-if": "/plant/1/valve/what-if?tag=10-PSV-1005&inlet.length=1 m",
    "steps": "/plant/1/valve?tag=10-PSV-1005&part=steps", "stability": "/plant/1/valve?tag=30-PSV-3019&part=stability",
    "remedies": "/plant/1/valve?tag=20-PSV-2012&part=remedies", "plan": "/plant/1/plan", "ask": "/plant/1/ask", "basis": "/plant/1/basis?to.thin_margin=30 %25",
    "checks": "/plant/1/checks", "study": "/plant/1/study", "record": "/plant/1/record",
}  # fmt: skip
SIZES = ((1440, 900), (390, 844))
SLOW = ("plan", "checks", "fleet-pictures")


def main(folder: str) -> None:
    """Serve a copy of the workspace and write every picture."""
    import uvicorn
    from playwright.sync_api import sync_playwright

    HERE.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as place, socket.socket() as free:
        shutil.copytree(folder, Path(place) / "space")
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        app = make_app(open_workspace(Path(place) / "space"), runs_jobs=False)
        server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error"))
        threading.Thread(target=server.run, daemon=True).start()
        while not server.started:
            time.sleep(0.1)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
            for width, height in SIZES:
                page = browser.new_context(viewport={"width": width, "height": height}).new_page()
                page.goto(f"http://127.0.0.1:{port}/plant/1/bring-in")  # the register is read once
                page.wait_for_timeout(4000)
                for name, address in PAGES.items():
                    page.goto(f"http://127.0.0.1:{port}{address}")
                    page.wait_for_load_state("networkidle")
                    page.wait_for_timeout(9000 if name in SLOW else 500)
                    page.screenshot(path=HERE / f"{name}-{width}.png")
                    print(f"written: {name}-{width}.png")
            browser.close()
        server.should_exit = True


if __name__ == "__main__":
    main(sys.argv[1])
