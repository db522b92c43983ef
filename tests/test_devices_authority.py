"""The local authority, against the verifiers of OpenSSL and of `cryptography` (RFC 5280, RFC 9525)."""

from __future__ import annotations

import socket
import ssl
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from flask import Flask

from pitapp.devices import authority
from pitapp.devices.sharing import open_to
from pitapp.web.server import make_server
from tests.support import PageClient

NOW = datetime.now(UTC).replace(microsecond=0)
HOSTS = ("192.168.7.1", "pit-laptop.local")


def read(file: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(file.read_bytes())


def test_a_phone_that_trusts_the_authority_trusts_the_server(tmp_path: Path, app: Flask) -> None:
    papers = authority.tls_files(tmp_path, HOSTS)
    server = make_server(app, papers=papers)
    server.prepare()
    assert server.tls is not None
    assert server.tls.minimum_version >= ssl.TLSVersion.TLSv1_2
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        trusting = ssl.create_default_context(cafile=str(papers.authority))
        with (
            socket.create_connection(server.bind_addr, timeout=20) as raw,
            trusting.wrap_socket(raw, server_hostname="localhost") as line,
        ):
            line.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
            assert line.recv(15) == b"HTTP/1.1 200 OK"
    finally:
        server.stop()
        thread.join(10)


def test_the_certificate_is_short_and_names_what_it_serves(tmp_path: Path) -> None:
    papers = authority.tls_files(tmp_path, HOSTS, NOW)
    leaf, top = read(papers.certificate), read(papers.authority)
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc < timedelta(days=398)
    for subject in (x509.IPAddress(ip_address(HOSTS[0])), x509.DNSName(HOSTS[1])):
        verifier = PolicyBuilder().store(Store([top])).time(NOW).build_server_verifier(subject)
        assert verifier.verify(leaf, [])[0] == leaf


def test_the_authority_stands_for_private_addresses_only(tmp_path: Path) -> None:
    papers = authority.tls_files(tmp_path, HOSTS, NOW)
    top, key = authority._authority(tmp_path, NOW)
    for host, subject in (
        ("8.8.8.8", x509.IPAddress(ip_address("8.8.8.8"))),
        ("pit.example", x509.DNSName("pit.example")),
    ):
        authority._make_leaf(papers, top, key, [host], NOW)
        forged = read(papers.certificate)
        verifier = PolicyBuilder().store(Store([top])).time(NOW).build_server_verifier(subject)
        with pytest.raises(VerificationError):
            verifier.verify(forged, [])


def test_it_is_kept_and_renewed_by_itself(tmp_path: Path) -> None:
    papers = authority.tls_files(tmp_path, HOSTS, NOW)
    first, top = read(papers.certificate), read(papers.authority)
    authority.tls_files(tmp_path, HOSTS, NOW + timedelta(days=100))
    assert read(papers.certificate) == first
    authority.tls_files(tmp_path, HOSTS, NOW + timedelta(days=380))
    renewed = read(papers.certificate)
    assert renewed != first
    assert renewed.not_valid_after_utc > NOW + timedelta(days=700)
    assert read(papers.authority) == top, "the phones go on trusting it"


def test_a_new_address_is_signed(tmp_path: Path) -> None:
    papers = authority.tls_files(tmp_path, HOSTS, NOW)
    authority.tls_files(tmp_path, ("10.0.0.9",), NOW)
    names = (
        read(papers.certificate).extensions.get_extension_for_class(x509.SubjectAlternativeName)
    ).value
    assert ip_address("10.0.0.9") in names.get_values_for_type(x509.IPAddress)


def test_a_phone_can_get_the_authority(app: Flask, client: PageClient) -> None:
    assert client.get("/devices/authority.crt").status_code == 404
    papers = open_to(app, HOSTS[0], shared=True, https=True)
    assert papers is not None
    answer = client.get("/devices/authority.crt")
    assert answer.mimetype == "application/x-x509-ca-cert"
    assert x509.load_pem_x509_certificate(answer.data) == read(papers.authority)
    assert b"PRIVATE" not in answer.data


def test_the_keys_are_for_their_owner_only(tmp_path: Path) -> None:
    authority.tls_files(tmp_path, HOSTS, NOW)
    for name in ("authority.key", "server.key"):
        assert (tmp_path / name).stat().st_mode & 0o077 == 0
