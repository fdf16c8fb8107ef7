"""Serving the bench: one socket, one address with a token, until it is ended."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import logging
import os
import secrets
import signal
import socket
import threading
import webbrowser
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tonewright.bench.worker import WARM_AFTER_SECONDS
from tonewright.errors import OptionError
from tonewright.files.papers import Papers
from tonewright.files.safe import no_call, scratch

LOOPBACK = "127.0.0.1"
PORT = 8463
LARGEST_UPLOAD = 4 << 30
"""Bytes: a classic TIFF is no larger."""


@dataclass(frozen=True)
class BenchSettings:
    """What the bench is started with."""

    folder: Path
    host: str = LOOPBACK
    port: int = PORT
    """0: any free one."""
    browser: bool = True


def serve(settings: BenchSettings, say: Callable[[str], None]) -> None:
    """Serve the bench until Ctrl-C or its button ends it.

    Parameters
    ----------
    say:
        Told the address, token included, as soon as it answers.

    Raises
    ------
    FileError
        There is no such folder.
    OptionError
        The port is taken or impossible, or the host is none of this machine's.
    """
    papers = Papers(settings.folder)
    with _listening(settings) as (sockets, port), _storage_elsewhere(), no_call():
        _serve(settings, papers, sockets, port, say)


@contextlib.contextmanager
def _listening(settings: BenchSettings) -> Iterator[tuple[list[socket.socket], int]]:
    """The socket that the bench answers on."""
    if not 0 <= settings.port <= 65_535:
        raise OptionError(f"the port is {settings.port}", "a port lies between 0 and 65535",
                          "0 takes any free one", code="bench_port")
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family) as listener:
        if os.name == "posix":  # elsewhere it would let two benches share a port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((settings.host, settings.port))
        except OSError as error:
            given = (f"the bench cannot be opened at {settings.host}, port {settings.port}:"
                     f" {error.strerror or error}")
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise OptionError(given, "it answers at an address of this machine",
                                  f"leave the address out for {LOOPBACK}") from error
            raise OptionError(given, "it needs a free port of this machine",
                              "another bench may be open there: close it, or take any free port",
                              code="bench_port") from error
        yield [listener], int(listener.getsockname()[1])


@contextlib.contextmanager
def _storage_elsewhere() -> Iterator[None]:
    """Nothing of the page's framework is kept in the folder that the bench was started in."""
    with scratch() as folder:
        os.environ["NICEGUI_STORAGE_PATH"] = str(folder)
        yield


def _serve(
    settings: BenchSettings, papers: Papers, sockets: list[socket.socket], port: int,
    say: Callable[[str], None],
) -> None:
    """Everything that needs the framework, which takes a second to load."""
    import uvicorn
    from fastapi import FastAPI
    from nicegui import ui

    from tonewright.bench import transfer
    from tonewright.bench.guard import Guard
    from tonewright.bench.pages import pages, register
    from tonewright.bench.state import Bench

    name = f"[{settings.host}]" if ":" in settings.host else settings.host
    own = {f"{name}:{port}"} | ({f"localhost:{port}"} if settings.host == LOOPBACK else set())
    token = secrets.token_urlsafe(24)
    address = f"http://{name}:{port}/?token={token}"
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    with Bench(papers) as bench:
        transfer.register(app, papers)
        register(bench)
        ui.run_with(app, title="Tonewright bench", tailwind=False, dark=False, language="en-US",
                    show_welcome_message=False, reconnect_timeout=30.0,
                    binding_refresh_interval=None)  # nothing is bound: no loop looks after it
        guarded = Guard(app, hosts=own, token=token, upload_limit=LARGEST_UPLOAD)
        server = uvicorn.Server(uvicorn.Config(
            guarded, log_level="error", access_log=False, timeout_graceful_shutdown=1,
            server_header=False))
        logging.getLogger("uvicorn.error").addFilter(  # what is cut off at the end is no fault
            lambda _: not server.should_exit)
        bench.end = lambda: setattr(server, "should_exit", True)
        with _ended_by_interrupt(bench.end):
            asyncio.run(_until_ended(server, sockets, lambda: _open(address, settings, say, pages)))


async def _until_ended(
    server: Any, sockets: list[socket.socket], ready: Callable[[], None]
) -> None:
    serving = asyncio.create_task(server.serve(sockets=sockets))
    while not server.started and not serving.done():
        await asyncio.sleep(0.02)
    if server.started:
        ready()
    await serving


def _open(
    address: str, settings: BenchSettings, say: Callable[[str], None], load: Callable[[], object]
) -> None:
    say(address)
    later = threading.Timer(WARM_AFTER_SECONDS, load)  # the browser has the processor until then
    later.daemon = True
    later.start()
    if settings.browser:  # some browsers keep whoever opens them waiting
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


@contextlib.contextmanager
def _ended_by_interrupt(end: Callable[[], None]) -> Iterator[None]:
    """Ctrl-C closes the bench in order; a second one at once."""
    before = signal.getsignal(signal.SIGINT)
    wakeup = signal.set_wakeup_fd(-1)

    def ended(*_: object) -> None:
        signal.signal(signal.SIGINT, before)
        signal.set_wakeup_fd(wakeup)
        end()

    signal.signal(signal.SIGINT, ended)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        signal.set_wakeup_fd(wakeup)
