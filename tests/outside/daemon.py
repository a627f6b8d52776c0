"""The real daemon as a process of its own."""

import os
import queue
import re
import sqlite3
import subprocess
import threading
from pathlib import Path

from owner import Owner
from programs import plain_environment
from waiting import PATIENCE

ROOT = Path(__file__).resolve().parents[2]
BINARY = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "debug" / "sconced"


class Daemon:
    """A daemon that serves a folder of its own on free ports of loopback; unless told, it is open to this machine.

    `site` is its place: latitude, longitude and zone.
    """

    def __init__(self, folder, is_open=True, site=None, mqtt_port=0):
        self.data = Path(folder) / "data"
        self.log_path = Path(folder) / "log"
        command = [BINARY, "serve", "--data", self.data, "--http", "127.0.0.1:0"]
        command += ["--mqtt", f"127.0.0.1:{mqtt_port}"]
        place = {
            f"SCONCED_SITE__{name}": str(value)
            for name, value in zip(("LATITUDE", "LONGITUDE", "ZONE"), site or (), strict=False)
        }
        with self.log_path.open("wb") as log:
            self.process = subprocess.Popen(
                [*command, *(["--open-on-loopback"] if is_open else [])],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=log,
                env={**plain_environment(), **place},
                cwd=folder,
                text=True,
            )
        try:
            ready = self._first_line()
            found = re.fullmatch(r"ready http=(http://127\.0\.0\.1:\d+) mqtt=127\.0\.0\.1:(\d+) data=(.+)", ready)
            assert found, f"the daemon did not become ready; it said {ready!r}\n{self.log()}"
        except BaseException:
            self.kill()
            raise
        self.url, self.mqtt_port = found[1], int(found[2])
        self.owner = Owner(self.url)

    def _first_line(self):
        lines = queue.Queue()

        def read():
            for line in self.process.stdout:
                lines.put(line.rstrip("\n"))
            lines.put("")  # it has ended

        threading.Thread(target=read, daemon=True).start()
        return lines.get(timeout=PATIENCE)

    def log(self):
        """The end of what it has logged."""
        return "\n".join(self.log_path.read_text(errors="replace").splitlines()[-40:])

    def rows(self, sql):
        """Asks its database by Python's own sqlite3, read only, beside the daemon."""
        connection = sqlite3.connect(f"file:{self.data / 'sconced.sqlite'}?mode=ro", uri=True, timeout=PATIENCE)
        try:
            return connection.execute(sql).fetchall()
        finally:
            connection.close()

    def run(self, *arguments):
        """Runs a command of the program on its folder; gives what it printed."""
        done = subprocess.run(
            [BINARY, *arguments, "--data", self.data],
            capture_output=True,
            env=plain_environment(),
            timeout=PATIENCE,
            check=False,
        )
        assert done.returncode == 0, f"{arguments}: {done.returncode}\n{done.stderr.decode(errors='replace')}"
        return done.stdout

    def kill(self):
        self.process.kill()
        self.process.wait()
