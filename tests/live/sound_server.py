"""Virtual sound devices: a private PulseAudio with a mouth, a loudspeaker, and an ear for both.

Mouth and loudspeaker are the left and right channel of one silent room, so that one recording holds
both, aligned to the sample. The microphone hears the mouth alone.
"""

import os
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000

_SCRIPT = """\
load-module module-native-protocol-unix auth-anonymous=1 socket={socket}
load-module module-null-sink sink_name=room channels=2 channel_map=front-left,front-right rate={rate}
load-module module-remap-sink sink_name=mouth master=room channels=1 channel_map=mono master_channel_map=front-left remix=no
load-module module-remap-sink sink_name=loudspeaker master=room channels=1 channel_map=mono master_channel_map=front-right remix=no
load-module module-remap-source source_name=microphone master=room.monitor channels=1 channel_map=mono master_channel_map=front-left remix=no
set-default-sink loudspeaker
set-default-source microphone
"""

_FIRST = ("nice", "-n", "-11") if hasattr(os, "geteuid") and os.geteuid() == 0 else ()
"""As the server's own priority (its default, where it may): a real card and a real mouth wait for no program."""

DEVICES = ("sink_name=room", "sink_name=mouth", "sink_name=loudspeaker", "source_name=microphone")
"""In the order in which they can be plugged in."""

_ALSA = """\
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse }
ctl.!default { type pulse }
"""


def missing() -> str:
    """Why there can be no virtual sound devices here, or an empty text."""
    programs = [p for p in ("pulseaudio", "paplay", "parec", "pactl") if shutil.which(p) is None]
    if programs:
        return f"no {', '.join(programs)} (Debian: apt install pulseaudio pulseaudio-utils)"
    if not Path("/usr/share/alsa/alsa.conf").exists():
        return "no ALSA configuration (Debian: apt install libasound2-plugins)"
    if not list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")):
        return "no ALSA plugin for PulseAudio (Debian: apt install libasound2-plugins)"
    try:
        import sounddevice  # noqa: F401
    except OSError as reason:
        return f"{reason} (Debian: apt install libportaudio2)"
    return ""


class SoundServer:
    """One daemon in `folder`, whose sockets lie in a short path of their own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._run = Path(tempfile.mkdtemp(prefix="snd-"))
        self._played = 0
        script, socket = folder / "server.pa", self._run / "native"
        script.write_text(_SCRIPT.format(socket=socket, rate=RATE_HZ))
        (folder / "alsa.conf").write_text(_ALSA)
        (folder / "sound-home").mkdir(exist_ok=True)
        self.environment = {
            **os.environ,
            "PULSE_SERVER": f"unix:{socket}",
            "PULSE_RUNTIME_PATH": str(self._run),
            "XDG_RUNTIME_DIR": str(self._run),
            "ALSA_CONFIG_PATH": str(folder / "alsa.conf"),
            "HOME": str(folder / "sound-home"),
        }
        self.log = folder / "server.log"
        with self.log.open("w") as log:
            self._daemon = subprocess.Popen(
                ["pulseaudio", "-n", "-F", str(script), "--daemonize=no", "--exit-idle-time=-1",
                 "--use-pid-file=no", "--disable-shm=yes"],
                env=self.environment, stdout=log, stderr=log,
            )  # fmt: skip
        self._wait_until_up()

    def _wait_until_up(self) -> None:
        for _ in range(100):
            if self._daemon.poll() is not None:
                break
            if "loudspeaker" in self._pactl("list", "short", "sinks"):
                return
            time.sleep(0.1)
        raise RuntimeError(f"the sound server does not start: {self.log.read_text()[-500:]}")

    def _pactl(self, *words: str) -> str:
        return subprocess.run(
            ["pactl", *words], env=self.environment, capture_output=True, text=True, timeout=10
        ).stdout

    def remove(self, module: str) -> None:
        """Takes a device away, as if it were pulled out ('module-remap-source argument')."""
        for line in self._pactl("list", "short", "modules").splitlines():
            if module in line:
                self._pactl("unload-module", line.split()[0])

    def add(self, *modules: str) -> None:
        """Plugs devices in again ('source_name=microphone')."""
        for module in modules:
            words = next(line for line in _SCRIPT.splitlines() if module in line).split()
            self._pactl(*(word.format(rate=RATE_HZ) for word in words))
        self._pactl("set-default-sink", "loudspeaker")
        self._pactl("set-default-source", "microphone")

    def microphone_is_open(self) -> bool:
        """Whether a program listens."""
        return bool(self._pactl("list", "short", "source-outputs").strip())

    def let_microphone_hear(self, what: str) -> None:
        """Makes the monitor of 'mouth' or 'loudspeaker' the default input."""
        self._pactl("set-default-source", "microphone" if what == "mouth" else f"{what}.monitor")

    def say(self, sound: np.ndarray, rate_hz: int) -> "subprocess.Popen[bytes]":
        """Plays `sound` (float32, mono) into the mouth; returns at once."""
        self._played += 1
        path = self._folder / f"said-{self._played}.wav"
        soundfile.write(path, sound, rate_hz, subtype="PCM_16")
        return subprocess.Popen(
            [*_FIRST, "paplay", "--device=mouth", "--latency-msec=150", str(path)], env=self.environment
        )

    def record(self, path: Path) -> "subprocess.Popen[bytes]":
        """Begins to record the room into `path`: int16, interleaved (mouth, loudspeaker)."""
        with path.open("wb") as file:
            return subprocess.Popen(
                [*_FIRST, "parec", "--device=room.monitor", "--raw", "--format=s16le", f"--rate={RATE_HZ}",
                 "--channels=2", "--channel-map=front-left,front-right", "--latency-msec=20"],
                env=self.environment, stdout=file,
            )  # fmt: skip

    def close(self) -> None:
        self._daemon.send_signal(signal.SIGTERM)
        try:
            self._daemon.wait(5)
        except subprocess.TimeoutExpired:
            self._daemon.kill()
        shutil.rmtree(self._run, ignore_errors=True)


def recorded(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """(mouth, loudspeaker) of a recording, float32."""
    data = np.fromfile(path, np.int16)
    pairs = data[: len(data) // 2 * 2].reshape(-1, 2).astype(np.float32) / 32768
    return pairs[:, 0], pairs[:, 1]
