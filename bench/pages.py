"""Server time of workspace pages at 10,000 valves, as percentiles and against a bare FastAPI page of the same bytes.

    python bench/pages.py --folder DIR [--valves 10000] [--rounds 60]

DIR: a workspace whose plant 1 has a study; where it holds none, one is made of invented valves (minutes). It is copied
first, so that the decisions of the last lines touch a copy. Time: from the request inside the process to the last byte,
packed by gzip; no network. One page after the other. CPU: what the process itself computed, on a machine that is busy
with other things the fairer figure.
"""

from __future__ import annotations

import argparse
import asyncio
import gzip
import shutil
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
import registers
from fastapi import FastAPI, Response
from starlette.middleware.gzip import GZipMiddleware

from quietseat.basis import make
from quietseat.store import Workspace, decided, fleet, open_workspace, plants, studies
from quietseat.study import run
from quietseat.web.app import make_app

FLEET = "/plant/1/fleet"
PIECE = ((b"hx-request", b"true"), (b"hx-request-type", b"partial"))
Get = Callable[..., Awaitable[tuple[int, bytes]]]


def asking(app: Any) -> Get:
    """A way to ask an application for a page without a network."""

    async def get(address: str, headers: tuple[tuple[bytes, bytes], ...] = ()) -> tuple[int, bytes]:
        path, _, query = address.partition("?")
        sent: list[Any] = []
        scope = {"type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http", "path": path, "raw_path": path.encode(),
                 "query_string": query.encode(), "root_path": "", "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80),
                 "headers": [(b"host", b"127.0.0.1"), (b"accept-encoding", b"gzip"), *headers]}  # fmt: skip

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Any) -> None:
            sent.append(message)

        await app(scope, receive, send)
        return sent[0]["status"], b"".join(one.get("body", b"") for one in sent[1:])

    return get


async def timed(
    get: Get, addresses: list[str], rounds: int, headers: tuple[tuple[bytes, bytes], ...] = ()
) -> tuple[list[float], list[float], bytes]:
    """Times and CPU times in ms of asking for the addresses in turn, the first round left out, and the last answer."""
    spent, computed, body = [], [], b""
    for number in range(max(1, rounds // len(addresses)) + 1):
        for address in addresses:
            start, cpu = time.perf_counter(), time.process_time()
            status, body = await get(address, headers)
            times = 1000 * (time.perf_counter() - start), 1000 * (time.process_time() - cpu)
            assert status == 200, (status, address)
            if number:
                spent.append(times[0])
                computed.append(times[1])
    return sorted(spent), sorted(computed), body


def at(times: list[float], share: float) -> float:
    """The time below which this share of them lies."""
    return times[min(len(times) - 1, int(len(times) * share))]


def bare(content: bytes) -> FastAPI:
    """An application of one page: the same bytes, packed the same way."""
    app = FastAPI()
    app.add_middleware(GZipMiddleware, minimum_size=800, compresslevel=6)
    app.add_api_route("/", lambda: Response(content, media_type="text/html"))
    return app


def pages(workspace: Workspace) -> dict[str, list[str]]:
    """What is measured: a name, and the addresses asked for in turn."""
    known = fleet.of_study(workspace, 1)
    return {
        "first page": [FLEET], "200 rows": [f"{FLEET}?per=200"], "page 150": [f"{FLEET}?page=150"],
        "search": [f"{FLEET}?q={words}" for words in ("propane", "psv-00", "inlet+line", "nothing+here")],
        "each order": [f"{FLEET}?sort={turn}{name}" for name in fleet.SORTS for turn in ("", "-")],
        "each filter": [f"{FLEET}?{name}={value}" for name, facet in known.facets.items() for value in facet.values[:6]],
        "all at once": [f"{FLEET}?q=propane&verdict=misfit&verdict=unproven&kind=conventional&plan=out&decided=no&held=no&sort=-npv"],
    }  # fmt: skip


async def measure(workspace: Workspace, rounds: int) -> None:
    get = asking(make_app(workspace, runs_jobs=False))
    start = time.perf_counter()
    await get(FLEET)
    print(
        f"first answer after the start: {1000 * (time.perf_counter() - start):.0f} ms (the study's columns are read once)"
    )
    print(
        f"{'page':32} {'p50':>6} {'p95':>6} {'max':>6} {'CPU p50':>8} {'p95':>6} {'over bare':>10} {'kB':>7} {'packed':>7}"
    )

    async def line(name: str, addresses: list[str], headers: tuple[tuple[bytes, bytes], ...] = ()) -> None:
        times, cpu, body = await timed(get, addresses, rounds, headers)
        content = gzip.decompress(body) if body[:2] == b"\x1f\x8b" else body
        _, plain, _ = await timed(asking(bare(content)), ["/"], rounds)
        print(
            f"{name:32} {at(times, 0.5):6.1f} {at(times, 0.95):6.1f} {times[-1]:6.1f} {at(cpu, 0.5):8.1f} {at(cpu, 0.95):6.1f} "
            f"{at(cpu, 0.5) / at(plain, 0.5):10.1f} {len(content) / 1000:7.1f} {len(body) / 1000:7.1f}"
        )

    for name, addresses in pages(workspace).items():
        await line(name, addresses)
    await line("search, table only", pages(workspace)["search"], PIECE)
    start = time.perf_counter()
    await get(f"{FLEET}/pictures")
    print(f"pictures, the first time: {time.perf_counter() - start:.1f} s")
    await line("pictures, after it", [f"{FLEET}/pictures"])
    known = fleet.of_study(workspace, 1)
    start = time.perf_counter()
    with workspace.writing() as connection:
        decided.decide_all(
            connection, 1, [(tag, *known.recommended[at]) for at, tag in enumerate(known.tags)], "bench", "bench"
        )
        decided.pin_all(connection, 1, known.tags, "out", "bench")
    print(f"decide and hold all {len(known)}: {time.perf_counter() - start:.2f} s")
    await line("first page, all decided and held", [FLEET])
    await line("search, all decided and held", pages(workspace)["search"])
    for kind in ("csv", "xlsx"):
        start = time.perf_counter()
        await get(f"{FLEET}.{kind}")
        print(f"all rows as {kind}: {time.perf_counter() - start:.2f} s")


def filled(folder: Path, valves: int) -> None:
    """A workspace with one plant of invented valves, studied in closed form."""
    with tempfile.TemporaryDirectory() as place:
        path = registers.write(Path(place) / "fleet.xlsx", valves)
        basis = make({"time_marching": "none"})
        study = run(str(path), basis, None, workers=None)
        workspace = open_workspace(folder)
        file = workspace.keep_file("fleet.xlsx", path.read_bytes())
    with workspace.writing() as connection:
        plant = plants.add(connection, "Large plant (invented)", file, {"time_marching": "none"})
        plants.show_study(connection, plant, studies.save(connection, plant, study, "full"))


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("--folder", type=Path, required=True)
    given.add_argument("--valves", type=int, default=10_000)
    given.add_argument("--rounds", type=int, default=60)
    options = given.parse_args()
    if not (options.folder / "workspace.db").exists():
        filled(options.folder, options.valves)
    with tempfile.TemporaryDirectory() as place:
        shutil.copytree(options.folder, place, dirs_exist_ok=True)
        asyncio.run(measure(open_workspace(place), options.rounds))


if __name__ == "__main__":
    main()
