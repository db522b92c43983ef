"""Guesses pairing codes without a pause from many addresses, until its input ends.

`python -m tests.guessers PORT ADDRESSES`, against a server on this machine that takes all loopback
addresses but 127.0.0.1 for other devices'. When all have begun it says so in a line; at the end it
says how many guesses were answered.
"""

from __future__ import annotations

import random
import re
import sys
import threading
from http.client import HTTPConnection, HTTPException
from urllib.parse import urlencode

LONGEST_S = 120.0


class Guesser(threading.Thread):
    """One address."""

    def __init__(self, port: int, number: int, over: threading.Event) -> None:
        super().__init__(daemon=True)
        self._port, self._over, self._chance = port, over, random.Random(number)
        self._address = f"127.7.{number // 250}.{number % 250 + 1}"
        self.answered = 0

    def run(self) -> None:
        own = (self._address, 0)
        connection = HTTPConnection("127.0.0.1", self._port, timeout=60, source_address=own)
        token, headers = "", {"Content-Type": "application/x-www-form-urlencoded"}
        while not self._over.is_set():
            try:
                if not token:
                    connection.request("GET", "/pair", headers=headers)
                    answer = connection.getresponse()
                    cookie = (answer.getheader("Set-Cookie") or "").partition(";")[0]
                    headers["Cookie"] = cookie
                    found = re.search(r'csrf_token" value="([^"]+)', answer.read().decode())
                    token = found[1] if found else ""
                form = {"csrf_token": token, "code": f"{self._chance.randrange(10**8):08}"}
                connection.request("POST", "/pair", urlencode(form), headers)
                connection.getresponse().read()
                self.answered += 1
            except (OSError, HTTPException):
                connection.close()


def main() -> None:
    port, many = int(sys.argv[1]), int(sys.argv[2])
    over = threading.Event()
    threading.Timer(LONGEST_S, over.set).start()
    guessers = [Guesser(port, number, over) for number in range(many)]
    for guesser in guessers:
        guesser.start()
    while not all(guesser.answered for guesser in guessers) and not over.wait(0.05):
        pass
    print("begun", flush=True)
    sys.stdin.read()
    over.set()
    print(sum(guesser.answered for guesser in guessers), flush=True)


if __name__ == "__main__":
    main()
