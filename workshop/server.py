"""Settings of the web server: ``gunicorn --config python:workshop.server workshop.wsgi``.

Threads, so that somebody on a slow line keeps nobody waiting, and limits for a client that sends
nothing. A proxy in front that takes each request in whole (see the README) spares the threads too.
"""

import contextlib
import os
import socket
import struct
import sys
import time
from pathlib import Path
from subprocess import PIPE, Popen
from typing import Any

from gunicorn.workers.gthread import ThreadWorker

MAX_HEADER_S = 20  # for the head of a request, from its first byte
MAX_PAUSE_S = 30  # between two packets of its body


class TimeLimitWorker(ThreadWorker):
    """A threaded worker that lets go of clients who stop sending.

    gunicorn limits neither: a client that never finishes its request would hold a thread for ever.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.head_deadlines: dict[Any, float] = {}

    def handle(self, conn: Any) -> Any:
        """Read a request within its limits, and answer it."""
        if not conn.initialized:
            # An option of the socket, since gunicorn resets Python's own time limit.
            pause = struct.pack("ll", MAX_PAUSE_S, 0)
            conn.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, pause)
        self.head_deadlines[conn] = time.monotonic() + MAX_HEADER_S
        try:
            return super().handle(conn)
        finally:
            self.head_deadlines.pop(conn, None)

    def handle_request(self, req: Any, conn: Any) -> Any:
        """Answer a request whose head has arrived."""
        self.head_deadlines.pop(conn, None)
        return super().handle_request(req, conn)

    def murder_pending(self) -> None:
        """Close the connections whose time is over; gunicorn's loop calls this each second."""
        super().murder_pending()
        now = time.monotonic()
        for conn, deadline in list(self.head_deadlines.items()):
            if deadline < now:
                with contextlib.suppress(OSError):  # the client has gone
                    conn.sock.shutdown(socket.SHUT_RDWR)  # its thread reads the end and closes it


def start_task_process(server: Any) -> None:
    """Start the process that forks for tasks; it ends with the last process that can write to it."""
    manage = Path(__file__).parents[1] / "manage.py"
    process = Popen([sys.executable, str(manage), "run_tasks"], stdin=PIPE, start_new_session=True)
    server.task_process = process  # the one before it loses its last writer with the last old web process
    os.environ["TASKS_FD"] = str(process.stdin.fileno()) if process.stdin else ""


on_starting = on_reload = start_task_process
worker_class = "workshop.server.TimeLimitWorker"
workers = 2
threads = 12
worker_connections = 24  # of a worker, idle ones included; more wait for the worker that is free
timeout = 120
loglevel = "warning"
control_socket_disable = True
