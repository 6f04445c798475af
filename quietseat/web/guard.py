"""What every answer carries and every request must show: strict policy, own host, own pages as the only senders of changes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from urllib.parse import urlsplit

from fastapi import Request, Response
from fastapi.responses import PlainTextResponse

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY, "X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin", "X-Frame-Options": "DENY",
}  # fmt: skip
HOSTS = frozenset(("localhost", "127.0.0.1", "::1", "testserver"))

Next = Callable[[Request], Awaitable[Response]]


def guard(hosts: frozenset[str]) -> Callable[[Request, Next], Awaitable[Response]]:
    """The check around every request. hosts: names this server answers to beside those of the machine itself.

    A page elsewhere that names this machine by a host of its own, or that posts a form here, is refused.
    """
    allowed = HOSTS | hosts

    async def check(request: Request, call_next: Next) -> Response:
        host = urlsplit(f"//{request.headers.get('host', '')}").hostname or ""
        if host not in allowed:
            return PlainTextResponse("This workspace answers to its own machine only.", 421, HEADERS)
        if request.method not in ("GET", "HEAD") and not _own(request):
            return PlainTextResponse("Changes are taken from this workspace's own pages only.", 403, HEADERS)
        answer = await call_next(request)
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        if answer.headers.get("content-type", "").startswith("text/html"):
            answer.headers.setdefault("Cache-Control", "no-store")
        return answer

    return check


def _own(request: Request) -> bool:
    """Whether a change comes from a page of this server."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("origin")
    return origin is None or urlsplit(origin).netloc == request.headers.get("host")
