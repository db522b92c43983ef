"""Writes the folder: the runtime, the app with its packages as bytecode, the pages around them.

Large files lie there compressed, each named in `list.js` with its size and SHA-256; what the folder
holds gives it its version.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import re
import shutil
import subprocess
import tarfile
import tempfile
import zipfile
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

from pitapp import __version__
from pitapp.errors import Refused
from pitapp.pocket import MARK, parts
from pitapp.web.factory import PACKAGE, beside

SITE = Path(__file__).with_name("site")
COMPILER = Path(__file__).with_name("compile.mjs")
COMPILING_AT_MOST_S = 1800
PLACE = "/packages"  # where the phone's Python finds them: `PACKAGES` in `site/python.js`
# Brought by the lock file's wheels, or of no use without a server.
NOT_FROM_HERE = {"pydantic", "pydantic-core", "h11", "platformdirs"}
LEFT_OUT = re.compile(
    r"(^|/)(__pycache__|tests?|locale)/|\.(so|pyd|pyi|c|h|typed)$|\.dist-info/"
    r"|^pydantic/(v1/|mypy\.py)|^werkzeug/debug/|^pitapp/(cli|__main__)\.py"
    r"|^pitapp/web/server/|^pitapp/pocket/(site|build|parts|commands|compile|serving)"
)
# Of Python's own library: what debugs, tests, talks to servers or starts processes, and old alphabets.
STANDARD_LEFT_OUT = re.compile(
    r"^(_pyrepl|curses|dbm|ensurepip|idlelib|multiprocessing|turtledemo|unittest|xmlrpc|xml/(dom|etree))/"
    r"|^(_pyio|bdb|cProfile|doctest|ftplib|imaplib|mailbox|modulefinder|optparse|pdb|pickletools"
    r"|plistlib|poplib|profile|pstats|pydoc|smtplib|trace|tracemalloc|turtle)\.py$"
    r"|^encodings/(big5|cp(?!1252|437)|euc|gb|hp|hz|iso2022|iso8859_(?!15?\.)|johab|koi|kz|mac|palm|ptcp"
    r"|shift|tis)"
)
FIXED = (1980, 1, 1, 0, 0, 0)


def build(folder: Path) -> dict[str, Any]:
    """Write the folder and return what is in it: `version`, and `parts` with their bytes.

    Raises:
        PartsMissing: a part is not on this machine and cannot be fetched.
        Refused: the folder holds something else.
    """
    if folder.exists() and any(folder.iterdir()) and not (folder / MARK).exists():
        raise Refused(f"{folder} holds something else. Choose an empty folder or a new one.")
    archive = parts.fetched(parts.runtime())
    wheels = [parts.fetched(part) for part in parts.wheels()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".building-") as place:
        fresh = Path(place) / "fresh"
        fresh.mkdir()
        made = _write(fresh, Path(place), archive, wheels)
        if folder.exists():
            folder.replace(Path(place) / "before")
        fresh.replace(folder)
    return made


def _write(folder: Path, place: Path, archive: Path, wheels: list[Path]) -> dict[str, Any]:
    runtime = place / "package"
    with tarfile.open(archive) as tar:
        tar.extractall(place, filter="data")
    packages, standard = place / "packages.zip", place / "standard.zip"
    _zip(packages, [*_app(), *_environment(), *_in_wheels(wheels)])
    _zip(standard, _standard(runtime / "python_stdlib.zip"))
    compiled = [place / "packages-compiled.zip", place / "standard-compiled.zip"]
    _compile(runtime, [packages, compiled[0], standard, compiled[1]])

    (folder / "runtime").mkdir()
    shutil.copyfile(runtime / "pyodide.mjs", folder / "runtime" / "pyodide.mjs")
    contents = {
        "python.mjs": _mended((runtime / "pyodide.asm.mjs").read_text(encoding="utf-8")).encode(),
        "python.wasm": (runtime / "pyodide.asm.wasm").read_bytes(),
        "packages.zip": compiled[0].read_bytes(),
        "standard.zip": compiled[1].read_bytes(),
    }
    entries = {}
    for name, content in contents.items():
        packed = gzip.compress(content, 9, mtime=0)
        (folder / "runtime" / f"{name}.gz").write_bytes(packed)
        digest = hashlib.sha256(packed)
        entries[name] = {
            "address": f"runtime/{name}.gz?{digest.hexdigest()[:12]}",
            "bytes": len(packed),
            "integrity": f"sha256-{base64.b64encode(digest.digest()).decode()}",
        }
    for path in SITE.iterdir():
        shutil.copyfile(path, folder / path.name)
    shutil.copytree(beside("static") / "icons", folder / "icons")
    (folder / "LICENCES.txt").write_text(_licences(wheels), encoding="utf-8")
    info = json.loads((runtime / "pyodide-lock.json").read_text(encoding="utf-8"))["info"]
    version = _version(folder)
    small = [
        path.relative_to(folder).as_posix()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix not in {".gz", ".txt"} and path.name != "sw.js"
    ]
    listed = {
        "version": version,
        "info": info,
        "parts": entries,
        "small": ["./", "list.js", *small],
    }
    text = json.dumps(listed, indent=1)
    (folder / "list.js").write_text(f"export const LIST = {text};\n", encoding="utf-8")
    worker = (folder / "sw.js").read_text(encoding="utf-8")
    (folder / "sw.js").write_text(f"const LIST = {text};\n{worker}", encoding="utf-8")
    mark = {"pitapp": __version__, "version": version, "parts": _versions()}
    (folder / MARK).write_text(json.dumps(mark, indent=1) + "\n", encoding="utf-8")
    return listed


def _mended(loader: str) -> str:
    """The runtime's loader, with the one call mended on which every promise of SQLite's rests.

    SQLite asks for `fdatasync`; Emscripten answers it without doing anything.
    """
    idle = "___syscall_fdatasync(fd){try{var stream=SYSCALLS.getStreamFromFD(fd);return 0}"
    if loader.count(idle) != 1:
        raise RuntimeError("The runtime's fdatasync is not as it was when this was written.")
    return loader.replace(
        idle, idle.replace("return 0", "return stream.stream_ops.fsync?.(stream)??0")
    )


def _app() -> Iterator[tuple[str, bytes]]:
    for path in _files(PACKAGE):
        yield f"pitapp/{path.relative_to(PACKAGE).as_posix()}", path.read_bytes()
    for name in ("templates", "static"):
        top = beside(name)
        for path in _files(top):
            yield f"pitapp/{name}/{path.relative_to(top).as_posix()}", path.read_bytes()


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def _needed(name: str = "pitapp") -> set[str]:
    """The distributions that this one needs at run time, by name, itself included."""
    names: set[str] = set()
    waiting = [name]
    while waiting:
        name = re.sub(r"[-_.]+", "-", waiting.pop()).lower()
        if name in names | NOT_FROM_HERE:
            continue
        try:
            requirements = distribution(name).requires or []
        except PackageNotFoundError:
            continue
        names.add(name)
        waiting += [
            re.split(r"[^\w.-]", each)[0] for each in requirements if "extra ==" not in each
        ]
    return names | _needed_by_wheels(names)


def _needed_by_wheels(names: set[str]) -> set[str]:
    more = {"annotated-types", "typing-extensions", "typing-inspection"}
    return more - names


def _environment() -> Iterator[tuple[str, bytes]]:
    for name in sorted(_needed() - {"pitapp"}):
        for file in distribution(name).files or ():
            path = Path(str(file.locate()))
            if ".." not in file.parts and path.is_file():
                yield file.as_posix(), path.read_bytes()


def _in_wheels(wheels: list[Path]) -> Iterator[tuple[str, bytes]]:
    for wheel in wheels:
        with zipfile.ZipFile(wheel) as opened:
            for name in opened.namelist():
                content = opened.read(name)
                yield (f"{name}!" if name.endswith(".so") else name), content


def _standard(path: Path) -> Iterator[tuple[str, bytes]]:
    with zipfile.ZipFile(path) as opened:
        for name in opened.namelist():
            if not name.endswith("/") and not STANDARD_LEFT_OUT.search(name):
                yield name, opened.read(name)


def _zip(path: Path, files: Any) -> None:
    """A zip of files that come as (name, content); a name that ends in "!" is taken in any case."""
    with zipfile.ZipFile(path, "w") as opened:
        for name, content in sorted(dict(files).items()):
            if name.endswith("!") or not LEFT_OUT.search(name):
                opened.writestr(zipfile.ZipInfo(name.rstrip("!"), FIXED), content)


def _compile(runtime: Path, files: list[Path]) -> None:
    command = [parts.program("node"), str(COMPILER), str(runtime), PLACE, *map(str, files)]
    done = subprocess.run(  # noqa: S603
        command, capture_output=True, text=True, check=False, timeout=COMPILING_AT_MOST_S
    )
    if done.returncode:
        raise RuntimeError(f"The app could not be compiled:\n{done.stderr[-2000:]}")


def _version(folder: Path) -> str:
    digest = hashlib.sha256()
    for path in _files(folder):
        digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def _versions() -> dict[str, str]:
    own = {name: distribution(name).version for name in sorted(_needed() - {"pitapp"})}
    locked = {part.package: part.version for part in (parts.runtime(), *parts.wheels())}
    return own | locked


def _licences(wheels: list[Path]) -> str:
    """Every licence of what the folder holds, each under the name of its package."""
    out = io.StringIO()
    runtime = parts.runtime()
    out.write(
        f"{runtime.package} {runtime.version}: Mozilla Public License 2.0. CPython, in it: "
        "PSF License Agreement, https://docs.python.org/3/license.html\n"
    )
    for name in sorted(_needed()):
        for file in distribution(name).files or ():
            if re.search(r"licen[cs]e|copying|notice", file.name, re.IGNORECASE):
                path = Path(str(file.locate()))
                if path.is_file() and path.suffix not in {".py", ".pyc"}:
                    out.write(f"\n== {name}: {file.name}\n{path.read_text('utf-8', 'replace')}")
    for wheel in wheels:
        with zipfile.ZipFile(wheel) as opened:
            for each in opened.namelist():
                if re.search(r"licen[cs]e", each.rsplit("/", 1)[-1], re.IGNORECASE):
                    text = opened.read(each).decode("utf-8", "replace")
                    out.write(f"\n== {wheel.name}: {each}\n{text}")
    return out.getvalue()
