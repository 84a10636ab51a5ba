"""The web server as the README and ``make demo`` start it: somebody on a slow line keeps nobody waiting."""

import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections import deque
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from tests.conftest import database_url
from workshop.management.commands import demo
from workshop.server import TimeLimitWorker, threads, workers

ROOT = Path(__file__).parents[1]
# A form that needs its body before it can be answered: with a cookie, the token in the body is read.
SLOW_FORM = (
    b"POST /log-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: csrftoken=" + b"a" * 32 + b"\r\n"
    b"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 5000000\r\n\r\nusername=o"
)
SLOW_HEAD = b"GET /health/ HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: "


def readme_command() -> list[str]:
    [command] = re.findall(r"^\.venv/bin/(gunicorn .*)$", (ROOT / "README.md").read_text(), re.MULTILINE)
    return command.split()


def demo_command(monkeypatch) -> list[str]:
    run: list[list[str]] = []
    monkeypatch.setattr(demo, "call_command", lambda *args, **kwargs: None)
    monkeypatch.setattr(demo.os, "execv", lambda path, command: run.append(command))
    demo.Command().serve("8000")
    return ["gunicorn", *(part for part in run[0][1:] if not part.startswith("--bind"))]


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def serve(command: list[str], folder: Path) -> Iterator[int]:
    """Run a server on the test's database, and yield its port once it answers."""
    port, log = free_port(), folder / "log"
    program = str(Path(sys.executable).with_name(command[0]))
    with log.open("w") as errors:
        server = subprocess.Popen(
            [program, *command[1:], f"--bind=127.0.0.1:{port}"],
            env={**os.environ, "DATABASE_URL": database_url()},
            cwd=ROOT,
            stderr=errors,
        )
    try:
        while not answers(port):
            assert server.poll() is None, log.read_text()
            time.sleep(0.05)
        yield port
    finally:
        server.terminate()
        server.wait()


def answers(port: int) -> bool:
    """Return False if nothing listens yet; any other answer than 200 is an error."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/health/") as response:
            return bool(response.status == 200)
    except urllib.error.HTTPError:
        raise
    except (ConnectionError, urllib.error.URLError):
        return False


def send(port: int, part: bytes) -> socket.socket:
    client = socket.create_connection(("127.0.0.1", port))
    client.sendall(part)
    return client


def is_open(client: socket.socket) -> bool:
    """Return True if the server has neither answered nor hung up."""
    client.setblocking(False)
    try:
        return bool(client.recv(1, socket.MSG_PEEK)) and False
    except BlockingIOError:
        return True
    finally:
        client.setblocking(True)


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("name", ["readme", "demo"])
def test_unfinished_requests_keep_nobody_waiting(name: str, monkeypatch, tmp_path) -> None:
    command = readme_command() if name == "readme" else demo_command(monkeypatch)
    with serve(command, tmp_path) as port:
        # More than there are processes: one request each would block them all.
        slow = [send(port, part) for part in (SLOW_HEAD, SLOW_FORM) for _ in range(workers + 1)]
        assert len(slow) < threads
        assert all(answers(port) for _ in range(20))
        assert all(is_open(client) for client in slow)
        slow[0].sendall(b"1\r\n\r\n")
        assert slow[0].recv(15) == b"HTTP/1.1 200 OK"
        for client in slow:
            client.close()


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_client_that_stops_sending_is_let_go(tmp_path) -> None:
    config = tmp_path / "short_limits.py"
    config.write_text(
        "import workshop.server\n"
        "workshop.server.MAX_HEADER_S = workshop.server.MAX_PAUSE_S = 1\n"
        "from workshop.server import *\n"
    )
    with serve(["gunicorn", f"--config={config}", "workshop.wsgi"], tmp_path) as port:
        with send(port, SLOW_HEAD) as head, send(port, SLOW_FORM) as form:
            assert head.recv(1) == b""  # returns when the server hangs up
            assert form.recv(12) == b"HTTP/1.1 403"
            while form.recv(4096):
                pass
        assert answers(port)


def test_only_requests_beyond_their_time_are_cut_off() -> None:
    worker = object.__new__(TimeLimitWorker)
    worker.pending_conns = deque()

    class Connection:
        def __init__(self) -> None:
            self.sock, self.client = socket.socketpair()

    late, early = Connection(), Connection()
    worker.head_deadlines = {late: time.monotonic() - 1, early: time.monotonic() + 3600}
    worker.murder_pending()
    assert not is_open(late.client)
    assert is_open(early.client)
    for end in (late.sock, late.client, early.sock, early.client):
        end.close()
