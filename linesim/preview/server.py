"""What the page asks for, and what it gets. All files come from the package, held in memory."""

import json
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from importlib.resources import files
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from linesim.preview.desk import THREADS, Desk
from linesim.preview.gate import Gate
from linesim.preview.jobs import Jobs
from linesim.preview.latest import BusyError, Latest
from linesim.preview.uploads import MOST_BYTES, decoded
from linesim.setup.errors import InputError
from linesim.setup.shown import visible

_PAGE = {
    "/": ("page.html", "text/html"),
    "/page.css": ("page.css", "text/css"),
    "/main.js": ("main.js", "text/javascript"),
    "/state.js": ("state.js", "text/javascript"),
    "/controls.js": ("controls.js", "text/javascript"),
    "/pane.js": ("pane.js", "text/javascript"),
    "/charts.js": ("charts.js", "text/javascript"),
    "/figures.js": ("figures.js", "text/javascript"),
    "/wire.js": ("wire.js", "text/javascript"),
    "/tones.js": ("tones.js", "text/javascript"),
    "/hands.js": ("hands.js", "text/javascript"),
    "/traces.js": ("traces.js", "text/javascript"),
    "/beside.js": ("beside.js", "text/javascript"),
}
_NO_TABLE = "request: expected one JSON object"
_BUSY = "too many pages wait for pictures; close some"
_LONGEST_CLIENT = 64


def application(desk: Desk, jobs: Jobs, port: int, token: str) -> ASGIApp:
    """Make the application behind its gate."""
    latest = Latest(ThreadPoolExecutor(THREADS, thread_name_prefix="picture"), THREADS)
    talks: dict[str, Callable[[Mapping[str, Any]], dict[str, Any]]] = {
        "/setup": lambda ask: {"text": desk.written(ask)},
        "/scan": jobs.start,
        "/job": lambda ask: jobs.state(ask.get("job")),
        "/marks": desk.marks,
        "/cancel": lambda ask: jobs.cancel(ask.get("job")),
    }
    routes = [
        *(Route(path, _file(*of), methods=["GET"]) for path, of in _PAGE.items()),
        Route("/start", partial(_start, desk), methods=["GET"]),
        Route("/look", partial(_picture, desk, latest), methods=["POST"]),
        Route("/upload", partial(_upload, desk), methods=["POST"]),
        Route("/result/{job}", partial(_result, jobs), methods=["GET"]),
        *(Route(path, partial(_talk, answer), methods=["POST"]) for path, answer in talks.items()),
    ]
    inside = Starlette(routes=routes)
    inside.router.redirect_slashes = False
    return Gate(inside, port, token, {"/upload": MOST_BYTES})


def _file(name: str, kind: str) -> Callable[[Request], Response]:
    body = files("linesim.preview").joinpath(name).read_bytes()
    return lambda _: Response(body, media_type=kind)


async def _asked(request: Request) -> Mapping[str, Any]:
    """Read the one JSON object of a request."""
    try:
        ask = json.loads(await request.body())
    except (ValueError, RecursionError) as fault:
        raise InputError(_NO_TABLE) from fault
    if not isinstance(ask, Mapping):
        raise InputError(_NO_TABLE)
    return ask


def _refused(refusal: InputError) -> Response:
    """Tell what is wrong; that is an answer like others, not a fault of the server."""
    return JSONResponse({"faults": [visible(fault) for fault in refusal.faults]})


async def _start(desk: Desk, _request: Request) -> Response:
    return JSONResponse(desk.start())


async def _picture(desk: Desk, latest: Latest, request: Request) -> Response:
    try:
        ask = await _asked(request)
        client = str(ask.get("client", ""))[:_LONGEST_CLIENT]
        # a picture of what moves makes the exact one of what was before worthless
        lanes = (f"{client} coarse", client) if ask.get("coarse") is True else (client, None)
        body = await latest.ask(lanes[0], partial(desk.answer, ask), lanes[1])
    except InputError as refusal:
        return _refused(refusal)
    except BusyError:
        return PlainTextResponse(f"{_BUSY}\n", 503)
    if body is None:
        return JSONResponse({"superseded": True})
    return Response(body, media_type="application/octet-stream")


async def _talk(
    answer: Callable[[Mapping[str, Any]], dict[str, Any]], request: Request
) -> Response:
    try:
        ask = await _asked(request)
        return JSONResponse(await run_in_threadpool(answer, ask))
    except InputError as refusal:
        return _refused(refusal)


async def _upload(desk: Desk, request: Request) -> Response:
    name = request.query_params.get("name", "image.png")
    encoding = request.query_params.get("encoding", "srgb")
    body = await request.body()
    try:
        found = await run_in_threadpool(
            decoded, body, name, "linear" if encoding == "linear" else "srgb"
        )
    except InputError as refusal:
        return _refused(refusal)
    rows, columns = found.data.shape[:2]
    word = desk.uploads.add(found)
    return JSONResponse({"word": word, "name": found.name, "rows": rows, "columns": columns})


async def _result(jobs: Jobs, request: Request) -> Response:
    try:
        name, body = jobs.result(request.path_params["job"])
    except InputError as refusal:
        return _refused(refusal)
    kind = "image/tiff" if name.endswith(".tif") else "text/html"
    return Response(
        body, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'}
    )
