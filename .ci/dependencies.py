"""What is installed is what is locked, and no published hole is known in it.

`python .ci/dependencies.py locked VENV...` compares environments with the lock;
`python .ci/dependencies.py audit` asks an advisory database about every package of the lock.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

LOCK = Path(__file__).parent / "constraints.txt"
SERVICES = ("pypi", "osv")
KNOWN_HOLE = (
    "jinja2==2.4.1"  # CVE-2016-10745 and others: a database that knows none of them is none
)
NOT_AUDITED = "dependencies: not audited (no advisory database in reach)"


def pinned(text: str) -> dict[str, str]:
    """Name (PEP 503) to version of every line `name==version`."""
    found = re.findall(r"^([\w.-]+)==(\S+)$", text, re.MULTILINE)
    return {re.sub(r"[-_.]+", "-", name).lower(): version for name, version in found}


def not_locked(frozen: str, lock: str) -> list[str]:
    """What is installed and stands in the lock with another version, or not at all."""
    locked = pinned(lock)
    return [
        f"{name}=={version} is installed, locked is {locked.get(name, 'nothing')}"
        for name, version in pinned(frozen).items()
        if locked.get(name) != version
    ]


def judged(report: dict[str, Any]) -> tuple[list[str], list[str], int]:
    """The holes that were found, the packages that were passed over, and how many were looked up."""
    holes, passed_over = [], []
    for each in report["dependencies"]:
        if "skip_reason" in each:
            passed_over.append(each["name"])
        holes += [f"{each['name']} {each['version']}: {v['id']}" for v in each.get("vulns", [])]
    return holes, passed_over, len(report["dependencies"]) - len(passed_over)


def asked(requirements: str, service: str) -> dict[str, Any] | None:
    """What the audit tool found, or None where it came back with nothing that can be read."""
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as listed:
        listed.write(requirements)
        listed.flush()
        command = [sys.executable, "-m", "pip_audit", "--service", service, "--format", "json"]
        command += ["--no-deps", "--disable-pip", "--progress-spinner", "off", "-r", listed.name]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    try:
        report: dict[str, Any] = json.loads(done.stdout)
    except ValueError:
        return None
    return report


def audit() -> int:
    """Say what an advisory database knows of the lock; 1 where it knows a hole."""
    for service in SERVICES:
        trial = asked(KNOWN_HOLE, service)
        if not trial or not judged(trial)[0]:
            continue
        lines = [f"{name}=={version}" for name, version in pinned(LOCK.read_text()).items()]
        report = asked("\n".join(lines), service)
        if not report:
            continue
        holes, passed_over, looked_up = judged(report)
        print(f"dependencies: {looked_up} audited, {len(holes)} known holes ({service})")
        if passed_over:
            print(f"not audited: {', '.join(passed_over)}")
        print(*holes, sep="\n", end="\n" if holes else "")
        return 1 if holes else 0
    print(NOT_AUDITED)
    return 0


def locked(venvs: list[str]) -> int:
    """Say what the environments hold beside the lock; 1 where they hold anything."""
    wrong = []
    for venv in venvs:
        command = [f"{venv}/bin/pip", "freeze", "--exclude", "pitapp"]
        frozen = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        wrong += [f"{venv}: {each}" for each in not_locked(frozen, LOCK.read_text())]
    print(*wrong or ["dependencies: all as locked"], sep="\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(locked(sys.argv[2:]) if sys.argv[1] == "locked" else audit())
