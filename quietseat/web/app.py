"""The workspace server: routes put together, policy around them, jobs beside them."""

from __future__ import annotations

import gc
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import import_module, resources
from pathlib import Path

from fastapi import FastAPI
from fastapi.responses import FileResponse
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from quietseat.store import Workspace
from quietseat.web import refused
from quietseat.web.guard import guard
from quietseat.web.registers import Registers
from quietseat.web.runner import Runner

# Modules with a `router` each, in the order of the work.
TOPICS = ("home", "bring_in", "work", "fleet", "valve", "fit", "what_if", "plan", "ask", "basis", "checks", "study", "record")


def make_app(workspace: Workspace, *, hosts: frozenset[str] = frozenset(), runs_jobs: bool = True) -> FastAPI:
    """The application over an open workspace. hosts: further names it answers to; runs_jobs: start waiting jobs."""
    runner = Runner(workspace) if runs_jobs else None

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        if runner:
            runner.start()
            threading.Thread(target=_warm, name="quietseat warm", daemon=True).start()
        yield
        if runner:
            runner.stop()

    app = FastAPI(title="quietseat", docs_url=None, redoc_url=None, openapi_url=None, lifespan=life)
    app.state.workspace, app.state.registers, app.state.runs_jobs = workspace, Registers(workspace), runs_jobs
    app.add_middleware(GZipMiddleware, minimum_size=800, compresslevel=6)
    app.middleware("http")(guard(hosts))
    here = Path(str(resources.files("quietseat.web")))
    app.mount("/static", StaticFiles(directory=here / "static"), name="static")
    blocks = Path(str(resources.files("quietseat.report"))) / "page.css"
    app.add_api_route("/blocks.css", lambda: FileResponse(blocks, media_type="text/css"), include_in_schema=False)
    for topic in TOPICS:
        app.include_router(import_module(f"quietseat.web.{topic}").router)
    refused.answers(app)
    return app


def _warm() -> None:
    """Do once what the first what-if would wait for: loading, and reading in the compiled march and the property library."""
    from dataclasses import replace

    from quietseat.basis import make
    from quietseat.model import Case, Line, Location, Valve, Vessel
    from quietseat.what_if import what_if

    gas = Case(name="gas", phase="gas", flow=1.0, temperature=320.0, molar_mass=0.02, k=1.3, Z=1.0, accumulation=1.1, rate_basis="signed")
    steam = Case(name="steam", phase="steam", fluid="water", flow=1.0, accumulation=1.1, rate_basis="signed")
    valve = Valve(kind="conventional", inlet_size=3.0, orifice="L", outlet_size=4.0, inlet_class=150, set_pressure=11e5, blowdown=0.07)
    vessel = Vessel(mawp=11e5, volume=10.0, operating_pressure=9e5)
    place = Location("warm", valve, (gas,), Line(size=3.0, length=2.0), Line(size=6.0, length=4.0), vessel)
    what_if(place, (), make({"time_marching": "none"}), {"vessel.operating_pressure": 10.5e5})
    for case in (gas, steam):
        what_if(replace(place, cases=(case,)), (), make({"time_marching": "all"}), {"valve.kind": "pilot"}, draws=2)
    gc.collect()
    gc.freeze()  # what is loaded by now stays: a full collection over it would hold up a page
