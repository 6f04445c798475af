"""The workspace server: routes put together, policy around them, jobs beside them."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import import_module, resources
from pathlib import Path
from typing import Any

from fastapi import FastAPI, HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException as Refused
from starlette.middleware.gzip import GZipMiddleware

from quietseat.status import InputUnusable
from quietseat.store import Workspace
from quietseat.web.guard import guard
from quietseat.web.registers import Registers
from quietseat.web.runner import Runner
from quietseat.web.site import site

# Modules with a `router` each, in the order of the work.
TOPICS = ("home", "work")


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
    app.state.workspace, app.state.registers = workspace, Registers(workspace)
    app.add_middleware(GZipMiddleware, minimum_size=800, compresslevel=6)
    app.middleware("http")(guard(hosts))
    here = Path(str(resources.files("quietseat.web")))
    app.mount("/static", StaticFiles(directory=here / "static"), name="static")
    blocks = Path(str(resources.files("quietseat.report"))) / "page.css"
    app.add_api_route("/blocks.css", lambda: FileResponse(blocks, media_type="text/css"), include_in_schema=False)
    for topic in TOPICS:
        app.include_router(import_module(f"quietseat.web.{topic}").router)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(RequestValidationError, _unreadable)
    app.add_exception_handler(InputUnusable, _unusable)
    return app


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException | Refused)
    return site(request).page("refused.html", status=error.status_code, title="Not possible", words=str(error.detail))


async def _unreadable(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    wrong: list[Any] = list(error.errors())
    words = "; ".join(f"{'.'.join(str(part) for part in one['loc'][1:])}: {one['msg']}" for one in wrong)
    return site(request).page("refused.html", status=422, title="Not understood", words=words)


async def _unusable(request: Request, error: Exception) -> Response:
    return site(request).page("refused.html", status=422, title="Not usable", words=str(error))


def _warm() -> None:
    """Load what the first what-if would wait for."""
    import_module("quietseat.assess")
    import_module("quietseat.march.kernel")
