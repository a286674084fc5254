"""
The server's addresses: the built page, the scene and what the engine made of it, pairing, jobs, uploads, the socket.

Takes a hub; gives an application. What is slow runs on threads; large arrays go out as they are. Refusals are words.
"""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager
from http import HTTPStatus
from pathlib import Path as FilePath
from typing import Annotated, Literal

from fastapi import FastAPI, Path, Query, Request, WebSocket
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, PlainTextResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from previz.bench import wire
from previz.bench.guard import Guard
from previz.bench.hub import Hub
from previz.bench.job_options import WrongOptions
from previz.bench.pairing import CODE_S, SESSION_S, Bucket, Pairing
from previz.bench.symbol import qr_rows
from previz.bench.uploads import put_beside
from previz.scene.elevations import panels_of
from previz.scene.faults import OutsideFault, PrevizError
from previz.scene.model import Scene
from previz.scene.tables import ROWS

UPLOADS = (0.2, 40)
"""Files a second that may be sent in the long run, and at once (own choice)."""

PAGE = FilePath(__file__).parent / "page"
NOT_BUILT = "The page of the bench was not built when previz was installed. Install it again with a connection to your package registry: pip install --force-reinstall previz."

_REFUSALS = {code: {"model": wire.Reason} for code in (400, 401, 403, 404, 405, 409, 413, 421, 422, 429, 500)}
_BYTES = {"content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}}
_DOCUMENT_POLICY = "default-src 'none'; img-src 'self'; media-src 'self'; style-src 'self' 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
"""Of a page that a job wrote: no code of any kind."""

_KEYS = Scene.model_json_schema(by_alias=True)

Number = Annotated[int, Path(ge=0, le=2**53)]


def make_app(hub: Hub, jobs, pairing: Pairing, *, hosts: set[str], port: int, address: str, said=print) -> Guard:
    """
    Return the application behind its door.

    Parameters
    ----------
    jobs : Jobs
    hosts : set of str
        By which the server may be called, with the port.
    address : str
        Which another device shall open: "http://192.0.2.7:8470".
    said : callable
        Says a line in the terminal.
    """
    cookie = f"previz-bench-{port}"
    uploads = Bucket(*UPLOADS)

    @asynccontextmanager
    async def lifespan(app):
        await hub.start()
        try:
            yield
        finally:
            await asyncio.to_thread(jobs.close)
            await hub.stop()

    app = FastAPI(title="previz bench", version="1", docs_url=None, redoc_url=None, openapi_url="/api/openapi.json", responses=_REFUSALS, lifespan=lifespan)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=6)

    def shown(path: FilePath) -> Response:
        return HTMLResponse(path.read_bytes()) if path.is_file() else PlainTextResponse(NOT_BUILT, 503)

    @app.get("/", include_in_schema=False)
    @app.get("/pair", include_in_schema=False)
    def page():
        return shown(PAGE / "index.html")

    @app.get("/api/scene")
    def scene() -> wire.SceneReply:
        """The scene as it stands."""
        return scene_reply(hub.document)

    @app.get("/api/keys")
    def keys():
        """What each key of the file may hold, as the model states it (JSON Schema)."""
        return JSONResponse(_KEYS)

    @app.get("/api/drawing")
    def drawing(shot: Annotated[str | None, Query(max_length=200)] = None):
        """Plan, section through a shot, and walls as lines. [mm]"""
        return JSONResponse(hub.live.drawing(shot))

    @app.get("/api/figures")
    def figures():
        """The report, curves and places of the findings; null until they are worked out."""
        return JSONResponse(hub.live.figures())

    @app.get("/api/light/{n}")
    def light(n: Number):
        """Patches and shafts, as a message told of them."""
        return _json(hub.live.light(n), "light")

    @app.get("/api/picture/{n}", response_class=Response, responses={200: {"content": {"image/webp": {}, "image/png": {}}}})
    def picture(n: Number):
        """A picture, as a message told of it."""
        return _bytes(hub.live.picture(n), "picture", getattr(hub.live, "picture_kind", "image/png"))

    @app.get("/api/play", response_class=Response, responses={200: _BYTES})
    def play(shot: Annotated[str, Query(max_length=200)]):
        """What the player needs of a shot, packed."""
        return _bytes(hub.live.play(shot), "move")

    @app.get("/api/walk", response_class=Response, responses={200: _BYTES})
    def walk():
        """The set to walk round, packed."""
        return _bytes(hub.live.walk(), "set")

    @app.get("/api/history")
    def history(before: Annotated[int | None, Query(ge=0, le=2**53)] = None, most: Annotated[int, Query(ge=1, le=1000)] = 200) -> list[wire.Version]:
        """Revisions, the newest first."""
        return [
            wire.Version(rev=r.rev, by=r.by, says=r.says, when=r.when, kind=r.kind, keys=[key for key, _, _ in r.changes[:20]])
            for r in hub.document.history(before, most)
        ]

    @app.get("/api/jobs")
    def listed():
        """Jobs, the newest last."""
        return JSONResponse({"jobs": jobs.listed()})

    @app.post("/api/jobs")
    async def start(body: wire.JobBody):
        """Run a verb of the command line on the scene as it is now."""
        await hub.save()
        return JSONResponse(await asyncio.to_thread(jobs.start, body.verb, dict(body.options)))

    @app.delete("/api/jobs/{job}")
    def cancel(job: Annotated[str, Path(max_length=80)]):
        """Stop a job."""
        if job not in {one.get("job") for one in jobs.listed()}:
            raise HTTPException(404, "There is no such job.")
        jobs.cancel(job)
        return JSONResponse({"jobs": jobs.listed()})

    @app.get("/api/jobs/{job}/files/{name}", response_class=FileResponse, responses={200: _BYTES})
    def result(job: Annotated[str, Path(max_length=80)], name: Annotated[str, Path(max_length=200)]):
        """A file that a job wrote."""
        found = jobs.file(job, name) if "/" not in name and "\\" not in name and "\0" not in name and name not in (".", "..") else None
        if found is None or not found.is_file():
            raise HTTPException(404, "There is no such file.")
        return FileResponse(found, headers={"content-security-policy": _DOCUMENT_POLICY})

    @app.post("/api/upload", openapi_extra={"requestBody": {"required": True, **_BYTES}})
    async def upload(request: Request, kind: Literal["photo", "mesh"], name: Annotated[str, Query(min_length=1, max_length=200)] = "upload") -> wire.Uploaded:
        """Put a picture or a mesh beside the scene file."""
        if wait := uploads.wait():
            raise HTTPException(429, "Too many files at once. Wait a moment.", {"retry-after": str(int(wait) + 1)})
        data = await request.body()
        path = await asyncio.to_thread(put_beside, hub.document.path, kind, name, data)
        return wire.Uploaded(file=path.name, bytes=len(data))

    @app.post("/api/share")
    def share() -> wire.Shared:
        """A fresh one-time code for another device."""
        code = pairing.new_code(typed=True)
        link = f"{address}/pair#{code}"
        return wire.Shared(address=address, code=code, link=link, expires_s=CODE_S, qr=qr_rows(link))

    @app.post("/api/pair")
    def pair(body: wire.PairBody) -> wire.Paired:
        """Give the one-time code, take the cookie."""
        secret, wait = pairing.use(body.code)
        if wait:
            return JSONResponse({"says": f"Too many wrong codes. Wait {int(wait) + 1} seconds."}, 429, {"retry-after": str(int(wait) + 1)})
        if secret is None:
            if not pairing.any_code():
                said(f"A device gave a code that is used up or too old. A fresh one: {pairing.new_code(typed=True)}")
            raise HTTPException(403, "That code is wrong, used up or too old. The terminal, or a page that is open, shows a fresh one.")
        answer = JSONResponse({"paired": True})
        answer.set_cookie(cookie, secret, max_age=SESSION_S, path="/", httponly=True, samesite="strict")
        return answer

    @app.websocket("/api/socket")
    async def socket(socket: WebSocket):
        await hub.talk(socket)

    if (PAGE / "assets").is_dir():
        app.mount("/assets", StaticFiles(directory=PAGE / "assets"), name="assets")

    @app.exception_handler(HTTPException)
    async def in_words(request, fault):
        says = fault.detail if fault.detail != HTTPStatus(fault.status_code).phrase else f"There is nothing at this address for {request.method}."
        return JSONResponse({"says": says}, fault.status_code, fault.headers)

    @app.exception_handler(RequestValidationError)
    async def unreadable(request, fault):
        first = fault.errors()[0] if fault.errors() else {"loc": (), "msg": "it cannot be read"}
        where = ".".join(str(part) for part in first["loc"])
        return JSONResponse({"says": f"{where}: {first['msg']}"[:300].encode("utf-8", "replace").decode()}, 422)

    @app.exception_handler(PrevizError)
    async def wrong(request, fault):
        beside = {"options": fault.by_option} if isinstance(fault, WrongOptions) else {}
        return JSONResponse({"says": str(fault), **beside}, 409 if isinstance(fault, OutsideFault) else 422)

    return Guard(app, pairing, hosts, cookie)


def scene_reply(document) -> wire.SceneReply:
    """Return a document's scene as plain values, with the names that can be chosen from."""
    file, rev, text, faults = document.file, document.rev, document.text, document.faults
    scene, tables = file.scene, file.tables()
    names = {table: [row["name"] for row in tables[table]] for table in ROWS}
    names["wall"] = [f"{room.name}.{panel}" for room in scene.room for panel in panels_of(room)]
    names["finish"] = ["plain", *scene.finish]
    told = [wire.FaultTold(key=key, says=says, remedy=remedy, line=line) for key, says, remedy, line in faults]
    return wire.SceneReply(rev=rev, file=document.path.name, text=text, scene=tables, names=names, faults=told)


def _json(value, what):
    if value is None:
        raise HTTPException(404, f"That {what} is not kept any more.")
    return JSONResponse(value)


def _bytes(data, what, kind="application/octet-stream"):
    if data is None:
        raise HTTPException(404, f"There is no such {what}, or not yet.")
    return Response(data, media_type=kind)
