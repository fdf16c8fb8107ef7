"""Files to and from the folder: what is dropped on a page, and what is taken from it."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, PlainTextResponse, Response
from starlette.requests import ClientDisconnect

from tonewright.bench.guard import TooLarge
from tonewright.errors import TonewrightError, capital
from tonewright.files.papers import HERE, Papers, append, compare
from tonewright.files.safe import whole_file

FILES = "/files"
NO_FILE = "There is no such file."
_SHOWN = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg",
          ".html": "text/html; charset=utf-8"}
"""What a browser shows itself; all else is saved."""
_SANDBOX = "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""For pages from the folder, whoever wrote them: no script, no network."""


def file_address(paper: str, name: str = "") -> str:
    """Where a file of a paper is, or goes."""
    return f"{FILES}/{'-' if paper == HERE else quote(paper, safe='')}" + (
        f"/{quote(name)}" if name else "")


def register(app: FastAPI, papers: Papers) -> None:
    """Make the two routes known, before any other of the page."""
    @app.put(FILES + "/{paper}/{name}")
    async def put(paper: str, name: str, request: Request) -> Response:
        try:
            return await _receive(papers, _paper(paper), name, request)
        except TonewrightError as error:
            return PlainTextResponse(capital(error.sentences()), 409)
        except TooLarge as error:
            return PlainTextResponse(str(error), 413)
        except ClientDisconnect:  # cancelled in the page: there is nobody to answer
            return Response(status_code=400)

    @app.get(FILES + "/{paper}/{name:path}")
    async def get(paper: str, name: str) -> Response:
        try:
            path = papers.inside(_paper(paper), name)
        except TonewrightError as error:
            return PlainTextResponse(error.sentences(), 404)
        if not path.is_file():
            return PlainTextResponse(NO_FILE, 404)
        kind = _SHOWN.get(path.suffix.lower())
        more: dict[str, Any] = {"filename": path.name} if kind is None else {}
        answer = FileResponse(path, media_type=kind or "application/octet-stream", **more)
        if kind is not None and kind.startswith("text/html"):
            answer.headers["content-security-policy"] = _SANDBOX
        return answer


async def _receive(papers: Papers, paper: str, name: str, request: Request) -> Response:
    path = papers.inside(paper, name)
    if path.is_file():
        return await _again(path, request)
    with whole_file(papers.inside(paper, name)) as temp, append(temp) as write:
        async for piece in request.stream():
            write(piece)
    return PlainTextResponse(name, 201)


async def _again(path: Path, request: Request) -> Response:
    """A file of this name is there: it is taken if it holds the same, as one that was dropped on
    another page does."""
    with compare(path) as agrees:
        same = True
        async for piece in request.stream():
            same = same and (not piece or agrees(piece))
        if same and agrees(b""):
            return PlainTextResponse(path.name, 201)
    return PlainTextResponse(f"Another file called {path.name} is there already. It is not"
                             " replaced. Rename yours, or remove the other.", 409)


def _paper(name: str) -> str:
    return HERE if name == "-" else name
