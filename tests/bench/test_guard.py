"""The bench attacked: by other sites, by names, by links, by what is too large."""

from __future__ import annotations

import asyncio
import socket
import warnings
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

import pytest

from loops import in_a_loop

pytest.importorskip("fastapi", reason="the bench is not installed")

from fastapi import FastAPI, WebSocket
from starlette.websockets import WebSocketDisconnect

from tonewright.bench import transfer
from tonewright.bench.guard import CLOSED, FOREIGN, Guard
from tonewright.files.papers import Papers

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it would rather have another client
    from starlette.testclient import TestClient

HOST, TOKEN, LIMIT = "127.0.0.1:8463", "right-token", 50_000
COOKIE = "tonewright_bench_8463"


@contextmanager
def bench(tmp_path: Path, *, entered: bool = True) -> Iterator[tuple[TestClient, Path]]:
    """A guarded bench over a folder with one paper."""
    root = tmp_path / "prints"
    (root / "Cotton").mkdir(parents=True)
    (tmp_path / "secret.txt").write_text("secret", encoding="utf-8")
    app = FastAPI()
    transfer.register(app, Papers(root))

    @app.get("/")
    async def page() -> str:
        return "the page"

    @app.websocket("/ws")
    async def ws(socket_: WebSocket) -> None:
        await socket_.accept()
        await socket_.send_text("in")
        await socket_.close()

    with TestClient(Guard(app, {HOST, "localhost:8463"}, TOKEN, LIMIT),
                    base_url=f"http://{HOST}") as client:
        if entered:
            client.cookies.set(COOKIE, TOKEN)
        yield client, root / "Cotton"


def test_the_token_opens_once_and_then_the_cookie(tmp_path: Path) -> None:
    with bench(tmp_path, entered=False) as (client, _):
        assert client.get("/").status_code == 403
        assert client.get("/").text == CLOSED
        assert client.get("/?token=wrong").status_code == 403
        first = client.get(f"/?token={TOKEN}&a=1", follow_redirects=False)
        assert (first.status_code, first.headers["location"]) == (303, "/?a=1")
        cookie = first.headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Strict" in cookie
        assert client.get("/").status_code == 200
        client.cookies.set(COOKIE, "wrong")
        assert client.get("/").status_code == 403


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8463", "127.0.0.1:9000",
                                  "127.0.0.1", "127.0.0.1:8463.evil.example", ""])
def test_a_name_that_another_site_points_here_is_refused(tmp_path: Path, host: str) -> None:
    with bench(tmp_path) as (client, _):
        answer = client.get("/", headers={"host": host})
        assert (answer.status_code, answer.text) == (403, FOREIGN)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8463",
                                    "http://127.0.0.1:9000", "http://127.0.0.1:8463.evil.example"])
def test_another_page_cannot_post_or_listen(tmp_path: Path, origin: str) -> None:
    with bench(tmp_path) as (client, paper):
        assert client.put("/files/Cotton/a.csv", content=b"x",
                          headers={"origin": origin}).status_code == 403
        with pytest.raises(WebSocketDisconnect), client.websocket_connect(
                "/ws", headers={"origin": origin, "host": HOST}):
            pass
        assert not [*paper.iterdir()]


def test_its_own_page_can(tmp_path: Path) -> None:
    with bench(tmp_path) as (client, paper):
        own = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
        assert client.put("/files/Cotton/a.csv", content=b"x", headers=own).status_code == 201
        assert (paper / "a.csv").read_bytes() == b"x"
        with client.websocket_connect("/ws", headers={**own, "host": HOST,
                                                      "cookie": f"{COOKIE}={TOKEN}"}) as listens:
            assert listens.receive_text() == "in"
        assert client.get("/", headers={"sec-fetch-site": "cross-site"}).status_code == 403


def test_a_websocket_without_the_cookie_is_closed(tmp_path: Path) -> None:
    with bench(tmp_path, entered=False) as (client, _), pytest.raises(WebSocketDisconnect), \
            client.websocket_connect("/ws", headers={"host": HOST}):
        pass


OUTSIDE = ["../secret.txt", "..%2f..%2fsecret.txt", "%2e%2e%2f%2e%2e%2fsecret.txt",
           "..%5c..%5csecret.txt", "%2fetc%2fpasswd", "..%2F..%2Fsecret.txt", "a%00b.txt",
           "link.txt", "folder%2fsecret.txt", ".hidden", "C%3a%5csecret.txt", "con.txt",
           "x" * 300 + ".csv", "a%0ab.csv", "%1b%5b31m.csv", "%20"]


@pytest.mark.parametrize("name", OUTSIDE)
def test_no_name_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    with bench(tmp_path) as (client, paper):
        (paper / "link.txt").symlink_to(tmp_path / "secret.txt")
        (paper / "folder").symlink_to(tmp_path)
        (paper / ".hidden").write_text("hidden", encoding="utf-8")
        before = sorted(tmp_path.rglob("*"))
        got, put = client.get(f"/files/Cotton/{name}"), client.put(f"/files/Cotton/{name}",
                                                                   content=b"written")
        assert got.status_code >= 400
        assert "secret" not in got.text.replace(name, "").replace("secret.txt", "")
        assert put.status_code >= 400
        assert sorted(tmp_path.rglob("*")) == before
        assert (tmp_path / "secret.txt").read_text(encoding="utf-8") == "secret"
        assert (paper / ".hidden").read_text(encoding="utf-8") == "hidden"


@pytest.mark.parametrize("paper", ["..", "%2e%2e", "..%2f..", "%2fetc", "Cotton%2f..%2f.."])
def test_no_paper_leads_out_either(tmp_path: Path, paper: str) -> None:
    with bench(tmp_path) as (client, _):
        assert client.get(f"/files/{paper}/secret.txt").status_code >= 400
        assert client.put(f"/files/{paper}/new.txt", content=b"x").status_code >= 400
        assert not (tmp_path / "new.txt").exists()


def test_what_is_there_is_never_written_over(tmp_path: Path) -> None:
    with bench(tmp_path) as (client, paper):
        (paper / "a.csv").write_text("kept", encoding="utf-8")
        for content in (b"new", b"kep", b"kept!", b""):
            answer = client.put("/files/Cotton/a.csv", content=content)
            assert answer.status_code == 409
            assert "is there already" in answer.text
        assert client.put("/files/Cotton/a.csv", content=b"kept").status_code == 201
        assert (paper / "a.csv").read_text(encoding="utf-8") == "kept"
        assert len([*paper.iterdir()]) == 1


@pytest.mark.parametrize("counted", [True, False])
def test_what_is_too_large_is_refused_and_leaves_nothing(tmp_path: Path, counted: bool) -> None:
    body = b"x" * (LIMIT + 1)

    def pieces() -> Iterator[bytes]:
        yield from (body[at:at + 4096] for at in range(0, len(body), 4096))

    with bench(tmp_path) as (client, paper):
        answer = client.put("/files/Cotton/a.tif", content=body if counted else pieces())
        assert answer.status_code == 413
        assert "GB" in answer.text
        assert not [*paper.iterdir()]


def test_files_are_saved_and_only_pictures_and_pages_shown(tmp_path: Path) -> None:
    with bench(tmp_path) as (client, paper):
        for name in ("a.html", "a.svg", "a.png", "a.csv"):
            (paper / name).write_text("<script>alert(1)</script>", encoding="utf-8")
        found = {name: client.get(f"/files/Cotton/{name}").headers for name in
                 ("a.html", "a.svg", "a.png", "a.csv")}
        assert found["a.html"]["content-security-policy"].startswith("sandbox;")
        assert "attachment" in found["a.svg"]["content-disposition"]
        assert "attachment" in found["a.csv"]["content-disposition"]
        assert found["a.png"]["content-type"] == "image/png"
        assert all(h["x-content-type-options"] == "nosniff" for h in found.values())
        page = client.get("/").headers
        assert "default-src 'self'" in page["content-security-policy"]
        assert page["cache-control"] == "no-store"


def test_an_upload_that_breaks_off_leaves_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Over a real socket: the connection ends in the middle of the body."""
    async def attack(port: int, root: Path) -> None:
        _, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(_put("cut.tif", port, 40_000) + b"x" * 10_000)
        await writer.drain()
        await _until(lambda: any(root.rglob("*.part*")))
        writer.close()
        await _until(lambda: not any(root.rglob("*.part*")))

    assert not _served(tmp_path, attack)
    assert not [said for said in caplog.records if said.levelname == "ERROR"]


@pytest.mark.parametrize(("message", "fault", "told"), [
    ("http.disconnect", "No response returned.", False),
    ("http.request", "No response returned.", True),
    ("http.disconnect", "a mistake of ours", True)])
def test_a_browser_that_goes_while_it_is_answered_is_no_fault(
    message: str, fault: str, told: bool
) -> None:
    async def app(_scope: Any, receive: Any, _send: Any) -> None:
        await receive()
        raise RuntimeError(fault)

    async def receive() -> dict[str, str]:
        return {"type": message}

    async def send(_: Any) -> None:
        raise AssertionError("there is nobody to answer")

    async def ask() -> None:
        await Guard(app, {HOST}, TOKEN, LIMIT)({"type": "http", "query_string": b"", "headers": [
            (b"host", HOST.encode()), (b"cookie", f"{COOKIE}={TOKEN}".encode())]}, receive, send)

    with pytest.raises(RuntimeError, match=fault) if told else nullcontext():
        in_a_loop(ask())


def test_each_of_two_files_on_one_connection_gets_its_name(tmp_path: Path) -> None:
    """A server that had to wait for the first reads the second in what is left of its context."""
    async def send(port: int, root: Path) -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        for name in ("first.tif", "second.tif"):
            writer.write(_put(name, port, 400_000) + b"x" * 399_000)
            await _until(lambda: any(p.stat().st_size == 399_000 for p in root.rglob("*.part*")))
            writer.write(b"x" * 1000)
            answer = await reader.readuntil(b"\r\n\r\n")
            assert answer.startswith(b"HTTP/1.1 201")
            await reader.readexactly(len(name))
        writer.close()

    assert _served(tmp_path, send, limit=500_000) == ["first.tif", "second.tif"]


def _put(name: str, port: int, size: int) -> bytes:
    return (f"PUT /files/Cotton/{name} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: "
            f"tonewright_bench_{port}={TOKEN}\r\nContent-Length: {size}\r\n\r\n").encode()


def _served(
    tmp_path: Path, talk: Callable[[int, Path], Coroutine[Any, Any, None]], limit: int = LIMIT
) -> list[str]:
    """Talk to a bench over a real socket; what is in the paper afterwards."""
    import uvicorn

    root = tmp_path / "prints"
    (root / "Cotton").mkdir(parents=True)
    app = FastAPI()
    transfer.register(app, Papers(root))

    async def serve() -> None:
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)  # more than it reads on
        listener.bind(("127.0.0.1", 0))
        port = listener.getsockname()[1]
        server = uvicorn.Server(uvicorn.Config(
            Guard(app, {f"127.0.0.1:{port}"}, TOKEN, limit), log_config=None))
        serving = asyncio.create_task(server.serve(sockets=[listener]))
        while not server.started:
            await asyncio.sleep(0.01)
        await talk(port, root)
        server.should_exit = True
        await serving

    in_a_loop(serve())
    return sorted(path.name for path in (root / "Cotton").iterdir())


async def _until(holds: Any) -> None:
    for _ in range(500):
        if holds():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("it did not come to pass within five seconds")
