"""Over https a phone keeps its pages and sends what waited, in every engine.

Each browser is told to trust this one server, as a phone does whose owner has installed its authority:
that its certificate is one that a phone can trust is looked at in `tests/test_devices_authority.py`.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import expect

from e2e.browser import LAUNCH_FLAGS
from e2e.engines import BRIDGED
from e2e.pages.offline import Phone, bars, fit_a_gear, visit_once
from e2e.server import ServerProcess, rows
from e2e.watch import Watch

FITS = "SELECT pinion_teeth, spur_teeth FROM gear_fits ORDER BY id DESC LIMIT 1"


@pytest.fixture
def secure(data_dir: Path, watch: Watch) -> Iterator[ServerProcess]:
    """The season, served with a certificate of this machine's own authority."""
    process = ServerProcess(data_dir, ("-m", "pitapp", "serve", "--https"), scheme="https")
    watch.servers.add(process.netloc)
    process.start()
    yield process
    process.kill()


def trusting(server: ServerProcess, browser_name: str) -> dict[str, Any]:
    """How a browser is started that trusts this server."""
    if browser_name in BRIDGED:
        return {"ignore_https_errors": True}
    # Its worker is not let in by that option.
    file = server.data_dir / "tls" / "server.crt"
    key = x509.load_pem_x509_certificate(file.read_bytes()).public_key()
    info = key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    pin = base64.b64encode(hashlib.sha256(info).digest()).decode()
    return {"args": [*LAUNCH_FLAGS, f"--ignore-certificate-errors-spki-list={pin}"]}


@pytest.mark.every_engine
def test_over_https_a_gear_that_was_fitted_with_no_server_arrives(
    secure: ServerProcess, phone: Phone, browser_name: str
) -> None:
    page = phone.open(**trusting(secure, browser_name))
    visit_once(page, secure.url)
    assert page.evaluate("() => isSecureContext")
    cookies = page.context.cookies(secure.url)
    assert cookies
    assert all(cookie["secure"] for cookie in cookies)
    secure.kill()
    fit_a_gear(page, secure.url)
    phone.close()

    page = phone.open(**trusting(secure, browser_name))
    page.goto(secure.url)
    expect(bars(page)).to_contain_text("Waiting on this phone: 1 entry")
    secure.start()
    expect(bars(page)).to_contain_text("Sent: 1 entry")
    assert rows(secure, FITS) == [(44, 66)]
