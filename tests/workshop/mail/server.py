"""A mail server of the tests, which speaks as much of SMTP (RFC 5321) as a mail needs."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import TracebackType
from typing import Self


class MailServer:
    """Takes each mail, refuses each address, or accepts connections and never answers.

    Attributes
    ----------
    accepted : threading.Event
        Set once somebody connected.
    received : list of str
        Every mail that was taken, as sent.
    """

    def __init__(self, behaviour: str) -> None:
        self.behaviour = behaviour
        self.accepted, self.received = threading.Event(), []
        self._connections: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._thread = threading.Thread(target=self._serve, daemon=True)

    @property
    def port(self) -> int:
        return int(self._listener.getsockname()[1])

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.hang_up()
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join()

    def hang_up(self) -> None:
        """End every connection."""
        for connection in self._connections:
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                break
            self._connections.append(connection)
            self.accepted.set()
            if self.behaviour != "silent":
                with suppress(OSError), connection.makefile("rwb") as lines:
                    self._talk(lines)
        for connection in self._connections:
            connection.close()

    def _talk(self, lines: object) -> None:
        def answer(text: str) -> None:
            lines.write(f"{text}\r\n".encode())
            lines.flush()

        answer("220 tests")
        for line in lines:
            command = line.decode().split()[0].upper()
            if command == "RCPT" and self.behaviour == "refuses":
                answer("550 no such mailbox here")
            elif command == "DATA":
                answer("354 go on")
                self.received.append("".join(self._read_mail(lines)))
                answer("250 taken")
            elif command == "QUIT":
                answer("221 bye")
                return
            else:
                answer("250 tests")

    @staticmethod
    def _read_mail(lines: object) -> Iterator[str]:
        for line in lines:
            if line == b".\r\n":
                return
            yield line.decode()


@contextmanager
def mail_server(settings: object, behaviour: str, *, time_limit: float = 60) -> Iterator[MailServer]:
    """Run a mail server that the site sends to."""
    with MailServer(behaviour) as server:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
        settings.EMAIL_TIMEOUT = time_limit
        yield server
