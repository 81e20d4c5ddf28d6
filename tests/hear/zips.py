"""Small zips, good and evil, and a server on the loopback address that hands them out."""

import hashlib
import io
import re
import stat
import threading
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import numpy as np

from prompter.hear.models.known import Archive

FILES = {
    "am/final.mdl": np.random.default_rng(0).bytes(300_000),  # does not shrink: several chunks
    "conf/model.conf": b"--beam=10\n",
    "README": b"a model for tests\n",
}
LAST_MODIFIED = "Wed, 02 Dec 2020 10:00:00 GMT"


def zipped(members: dict[str, bytes] | None = None, top: str = "small-model/") -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in (FILES if members is None else members).items():
            made.writestr(top + name, data)
    return held.getvalue()


def linked(target: str) -> bytes:
    """A zip whose `am` is a symbolic link, with a file to be written through it."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as made:
        link = zipfile.ZipInfo("m/am")
        link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
        made.writestr(link, target)
        made.writestr("m/am/final.mdl", b"x")
    return held.getvalue()


def archive_of(data: bytes, url: str = "http://127.0.0.1:9/none.zip") -> Archive:
    return Archive("small-model", url, len(data), hashlib.sha256(data).hexdigest())


class Server:
    """Serves `data`. `cut_after`: bytes of the body after which the connection is closed, a try
    each; `ranges`: whether it knows Range; `sent_length`: a false Content-Length."""

    def __init__(self, data: bytes) -> None:
        self.data, self.cut_after = data, []
        self.ranges, self.chunked, self.status = True, False, 200
        self.etag: str | None = '"one"'
        self.modified: str | None = LAST_MODIFIED
        self.asked: list[dict[str, str]] = []
        self.url = ""

    def answer(self, handler: BaseHTTPRequestHandler) -> None:
        self.asked.append(dict(handler.headers))
        if self.status != 200:
            handler.send_error(self.status)
            return
        begin = self._begin(handler)
        if begin is not None and begin >= len(self.data):
            handler.send_error(416)
            return
        body = self.data[begin or 0 :]
        handler.send_response(200 if begin is None else 206)
        if begin is not None:
            total = len(self.data)
            handler.send_header("Content-Range", f"bytes {begin}-{total - 1}/{total}")
        if not self.chunked:
            handler.send_header("Content-Length", str(len(body)))
        for name, value in (("ETag", self.etag), ("Last-Modified", self.modified)):
            if value:
                handler.send_header(name, value)
        handler.end_headers()
        handler.wfile.write(body[: self.cut_after.pop(0)] if self.cut_after else body)

    def _begin(self, handler: BaseHTTPRequestHandler) -> int | None:
        """RFC 9110: Range counts only if If-Range names what is there now."""
        found = re.fullmatch(r"bytes=(\d+)-", handler.headers.get("Range", ""))
        if not found or not self.ranges:
            return None
        condition = handler.headers.get("If-Range")
        return int(found[1]) if condition in (None, self.etag, self.modified) else None


@contextmanager
def serving(data: bytes) -> Iterator[Server]:
    server = Server(data)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            server.answer(self)

        def log_message(self, *_: object) -> None:
            pass

    listening = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=listening.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    server.url = f"http://127.0.0.1:{listening.server_port}/small-model.zip"
    try:
        yield server
    finally:
        listening.shutdown()
        listening.server_close()
        thread.join()
