"""The systemd user service: its unit file, and telling systemd that standby is ready and alive.

The protocol is sd_notify's: one datagram to the socket that NOTIFY_SOCKET names (systemd's manual,
sd_notify(3)); WATCHDOG_USEC is the time within which systemd wants to hear again.
"""

import os
import shlex
import socket
import sys
from pathlib import Path

from prompter.errors import CannotDo
from prompter.standby import bounds

UNIT = "prompter-standby.service"


class Service:
    """What systemd is told. Outside of a service every call does nothing."""

    def __init__(self) -> None:
        self._address = os.environ.get("NOTIFY_SOCKET", "")

    @property
    def runs(self) -> bool:
        """Whether standby was started as a service that wants to be told."""
        return bool(self._address)

    @property
    def within_s(self) -> float | None:
        """How often systemd wants to hear of it; None where it does not."""
        try:
            if int(os.environ.get("WATCHDOG_PID") or os.getpid()) != os.getpid():
                return None
            return int(os.environ["WATCHDOG_USEC"]) / 1e6
        except (KeyError, ValueError):
            return None

    def tell(self, *states: str) -> None:
        """Such as 'READY=1', 'WATCHDOG=1', 'STATUS=waits'. Never raises."""
        if not self._address:
            return
        address = "\0" + self._address[1:] if self._address[0] == "@" else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as to:
                to.settimeout(bounds.TELL_S)
                to.connect(address)
                to.sendall("\n".join(states).encode())
        except (OSError, AttributeError):  # nobody listens, or this system has no such sockets
            return


def unit_text(words: list[str]) -> str:
    """The unit file; `words`: the options standby is to be started with."""
    command = " ".join(map(_quoted, [sys.executable, "-m", "prompter.cli", "standby", *words]))
    home = os.environ.get("PROMPTER_HOME")
    environment = f"Environment={_quoted(f'PROMPTER_HOME={home}')}\n" if home else ""
    return f"""\
[Unit]
Description=Prompter in standby: waits for the start phrase. It watches nobody.
After=pipewire.service pipewire-pulse.service pulseaudio.service
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
{environment}ExecStart={command}
Restart=always
RestartSec=2
RestartPreventExitStatus=2
WatchdogSec={bounds.WATCHDOG_S:.0f}
TimeoutStartSec=300
UMask=0077

[Install]
WantedBy=default.target
"""


def unit_folder() -> Path:
    """Where systemd looks for a user's units (systemd.unit(5))."""
    config = os.environ.get("XDG_CONFIG_HOME") or "~/.config"
    return Path(config).expanduser() / "systemd" / "user"


def write_unit(words: list[str]) -> str:
    """Writes the unit file and enables nothing; what to do next, for people. Raises CannotDo."""
    path = unit_folder() / UNIT
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(unit_text(words), encoding="utf-8")
    except OSError as error:
        raise CannotDo(
            f"the unit file cannot be written: {error.strerror or error}.", str(path),
            "Give write permission, or set XDG_CONFIG_HOME to another folder.",
        ) from None  # fmt: skip
    return f"""\
Written: {path}. Nothing is started yet. To start it now and at every login:
    systemctl --user daemon-reload
    systemctl --user enable --now {UNIT}
To have it run although nobody is logged in: loginctl enable-linger {shlex.quote(_user())}
To see how it is: systemctl --user status {UNIT}
To end it: systemctl --user disable --now {UNIT}"""


def _user() -> str:
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "YOUR-NAME"


def _quoted(word: str) -> str:
    """As systemd.service(5) reads a word of a command line."""
    for sign, escaped in (("\\", "\\\\"), ('"', '\\"'), ("%", "%%"), ("$", "$$")):
        word = word.replace(sign, escaped)
    return f'"{word}"'
