"""The app as a process that ends and starts again within milliseconds: a child forked for each life.

`python -m e2e.forking PORT FOLDER` reads commands from its input: `start` makes a child that serves,
`kill` ends it with SIGKILL; each is answered with one line when it is done.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

from e2e.server import free_port


class ForkedServer:
    """Such a process, driven from a test."""

    def __init__(self, data_dir: Path) -> None:
        self.data_dir = data_dir
        self.port = free_port()
        self.netloc = f"127.0.0.1:{self.port}"
        self.url = f"http://{self.netloc}"
        self._process = subprocess.Popen(
            [sys.executable, "-m", "e2e.forking", str(self.port), str(data_dir)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def start(self) -> None:
        """Serve."""
        self._say("start")

    def kill(self) -> None:
        """End it at once, in the middle of whatever it does."""
        self._say("kill")

    def end(self) -> None:
        """End everything."""
        self._process.communicate(timeout=20)

    def _say(self, command: str) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{command}\n")
        self._process.stdin.flush()
        if self._process.stdout.readline().strip() != command:
            raise AssertionError(f"The server did not {command}.")


def main() -> None:
    from pitapp import create_app
    from pitapp.web.server import make_server

    port, folder = int(sys.argv[1]), sys.argv[2]
    app = create_app(folder)
    app.test_client().get("/")
    app.extensions["pitapp.db"].close()
    child = 0
    for line in sys.stdin:
        command = line.strip()
        if command == "start":
            reading, writing = os.pipe()
            child = os.fork()
            if child == 0:
                server = make_server(app, port=port)
                server.prepare()
                os.write(writing, b".")
                server.serve()
                os._exit(0)
            os.close(writing)
            os.read(reading, 1)
            os.close(reading)
        elif child:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            child = 0
        print(command, flush=True)
    if child:
        os.kill(child, signal.SIGKILL)


if __name__ == "__main__":
    main()
