"""Fetches one file of known size, and goes on where an earlier try was cut.

The only place in the program that opens a connection. Only `prompter ears install` comes here.
"""

import contextlib
import http.client
import os
import re
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from email.utils import formatdate, parsedate_to_datetime
from pathlib import Path
from typing import Any

from prompter import __version__, limits
from prompter.errors import CannotDo

OFFLINE = "Run it again, or fetch the zip with a browser and give it with --from FILE."
_CHUNK_BYTES = 1 << 16
_BUSY = (429, 500, 502, 503, 504)


class _Cut(Exception):
    """The connection ended early: what came is kept, and a new one goes on from there."""


class Download:
    """Fetches `url` into `part`. Blocking; one at a time.

    `part` keeps what came before an interruption. Its time of change is the server's Last-Modified,
    so that a later run asks for the rest of the same file (If-Range) and nothing else has to be
    kept; within a run the ETag, if it is a strong one, does that. A server that does not know
    ranges, or has another file by now, starts anew. What the bytes are worth is for the caller to
    check.
    """

    def __init__(
        self,
        url: str,
        part: Path,
        size_bytes: int,
        progress: Callable[[int], None] = lambda done: None,
        pause_s: float = limits.FETCH_PAUSE_S,
    ) -> None:
        self._url, self._part, self._size, self._progress = url, part, size_bytes, progress
        self._pause_s = pause_s
        self._validator: str | None = None
        self._modified_s = 0
        self._connected = False
        self._opener = urllib.request.build_opener(_NoDowngrade)

    def run(self) -> None:
        """Return when `part` has `size_bytes`. Raises CannotDo."""
        idle = 0
        while self._have() != self._size:
            before = self._have()
            if before > self._size:
                self._begin_anew()
            try:
                self._once()
                idle = 0
            except _Cut as cut:
                idle = 0 if self._have() > before else idle + 1
                if idle >= limits.FETCH_TRIES:
                    raise CannotDo(
                        f"the connection was cut ({cut}); {self._have():,} of {self._size:,} bytes "
                        "are kept.", self._url, OFFLINE,
                    ) from None  # fmt: skip
                time.sleep(self._pause_s)

    def _have(self) -> int:
        try:
            return self._part.stat().st_size
        except FileNotFoundError:
            return 0

    def _begin_anew(self) -> None:
        self._part.unlink(missing_ok=True)

    def _once(self) -> None:
        with contextlib.closing(self._open(self._have())) as response:
            self._connected = True
            begin = self._begin_of(response)
            self._remember(response.headers)
            self._take(response, begin)

    def _open(self, have: int) -> Any:
        headers = {"User-Agent": f"prompter/{__version__}", "Accept-Encoding": "identity"}
        if have:
            headers["Range"] = f"bytes={have}-"
            if validator := self._validator or self._validator_of_part():
                headers["If-Range"] = validator
        request = urllib.request.Request(self._url, headers=headers)
        try:
            return self._opener.open(request, timeout=limits.FETCH_STALL_S)
        except urllib.error.HTTPError as error:
            error.close()
            if error.code == 416 and have:  # the file there is shorter than the part
                self._begin_anew()
                raise _Cut("another file") from None
            if error.code in _BUSY and self._connected:
                raise _Cut(f"the server answered {error.code}") from None
            raise CannotDo(f"the server answered {error.code}.", self._url, OFFLINE) from None
        except (OSError, http.client.HTTPException, ValueError) as error:
            reason = getattr(error, "reason", None) or error
            if self._connected:
                raise _Cut(str(reason)) from None
            raise CannotDo(f"cannot be reached ({reason}).", self._url, OFFLINE) from None

    def _validator_of_part(self) -> str | None:
        seconds = int(self._part.stat().st_mtime)
        return formatdate(seconds, usegmt=True) if seconds > 0 else None

    def _begin_of(self, response: Any) -> int:
        """At which byte the answer begins. Raises CannotDo if it cannot be the file."""
        if response.status == 206:
            found = re.fullmatch(r"bytes (\d+)-\d+/(\d+|\*)", response.headers.get("Content-Range", ""))
            if found and int(found[1]) == self._have() and found[2] in ("*", str(self._size)):
                return int(found[1])
            self._begin_anew()
            raise _Cut("another file")
        offered = response.headers.get("Content-Length")
        if response.status != 200 or (offered or "").strip() not in ("", str(self._size)):
            raise CannotDo(
                f"what is there has {offered} bytes, the known file has {self._size}.",
                self._url, OFFLINE,
            )  # fmt: skip
        return 0

    def _remember(self, headers: Any) -> None:
        etag, modified = headers.get("ETag"), headers.get("Last-Modified")
        self._modified_s = 0
        if modified:
            with contextlib.suppress(ValueError):
                self._modified_s = int(parsedate_to_datetime(modified).timestamp())
        strong = etag and not etag.startswith("W/")
        self._validator = etag if strong else modified if self._modified_s else None

    def _take(self, response: Any, begin: int) -> None:
        with self._writing(begin) as file:
            while chunk := self._read(response):
                begin += len(chunk)
                if begin > self._size:
                    self._begin_anew()
                    raise CannotDo(
                        f"more bytes come than the known file has ({self._size}).", self._url, OFFLINE
                    )
                self._keep(file, chunk)
                self._progress(begin)
        if begin < self._size:
            raise _Cut("it ended early")

    def _keep(self, file: Any, chunk: bytes) -> None:
        rest = memoryview(chunk)
        try:
            while rest:
                rest = rest[file.write(rest) :]
        except OSError as error:
            raise self._cannot_write(error) from None
        with contextlib.suppress(OSError):  # without it the next run may have to begin anew
            os.utime(self._part, (self._modified_s, self._modified_s))

    def _writing(self, begin: int) -> Any:
        try:
            return self._part.open("ab" if begin else "wb", buffering=0)
        except OSError as error:
            raise self._cannot_write(error) from None

    def _cannot_write(self, error: OSError) -> CannotDo:
        return CannotDo(
            f"cannot be written: {error.strerror or error}.", str(self._part),
            "Make room or give write permission; the same command goes on from there.",
        )  # fmt: skip

    @staticmethod
    def _read(response: Any) -> bytes:
        try:
            return response.read(_CHUNK_BYTES)
        except (OSError, http.client.HTTPException) as error:
            raise _Cut(str(error) or type(error).__name__) from None


class _NoDowngrade(urllib.request.HTTPRedirectHandler):
    """Follows redirects, but never from an encrypted connection to an open one."""

    def redirect_request(self, request: Any, *rest: Any) -> Any:
        target = rest[-1]
        if request.full_url.startswith("https:") and not target.startswith("https:"):
            raise urllib.error.URLError(f"it leads to an open connection, {target}")
        return super().redirect_request(request, *rest)
