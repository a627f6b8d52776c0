"""The owner with curl."""

import json
import subprocess

from owner import Answer
from programs import plain_environment, program
from waiting import PATIENCE


class Curl:
    """Sends requests to one daemon by the program curl."""

    def __init__(self, url, folder):
        self.url, self.folder = url, folder

    def __call__(self, path, *arguments, content=""):
        """Asks for a path of the daemon, or for a whole URL of it."""
        url = path if path.startswith("http") else self.url + path
        head, body = self.folder / "head", self.folder / "body"
        body.write_bytes(b"")
        # -q: without anybody's own settings
        command = [program("curl"), "-q", "--silent", "--show-error", "--globoff", "--max-time", str(int(PATIENCE))]
        done = subprocess.run(
            [*command, "--dump-header", head, "--output", body, *arguments, url],
            input=content,
            capture_output=True,
            text=True,
            check=False,
            env=plain_environment(),
        )
        assert done.returncode == 0, f"curl {arguments} {url}: {done.stderr}"
        # the last block: an interim answer (100) may come before it
        block = head.read_bytes().decode("latin-1").replace("\r\n", "\n").strip().split("\n\n")[-1]
        status, *lines = block.split("\n")
        headers = {name.strip().lower(): value.strip() for name, value in (line.split(":", 1) for line in lines)}
        answer = Answer(
            int(status.split()[1]), headers, body.read_bytes(), f"curl {' '.join(map(str, arguments))} {url}"
        )
        assert answer.status < 500, answer
        return answer

    def sends(self, method, path, value, media_type="application/json", *arguments):
        """Sends a value as JSON, or a text as it is."""
        content = value if isinstance(value, str) else json.dumps(value)
        how = ["--request", method, "--header", f"Content-Type: {media_type}", "--data-binary", "@-"]
        return self(path, *how, *arguments, content=content)
