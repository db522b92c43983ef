"""A certificate authority of this machine's own, and the server certificate that it signs (RFC 5280).

The authority is constrained to private addresses and names of a local network, so that a phone that
trusts it risks nothing else. Needs the optional extra `https`.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from pitapp.errors import DataError

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

AUTHORITY_LIFE = timedelta(days=3650)
LEAF_LIFE = timedelta(days=396)
RENEW_BEFORE = timedelta(days=30)
SLACK = timedelta(days=1)
PRIVATE_RANGES = (
    "127.0.0.0/8",
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "::1/128",
    "fc00::/7",
    "fe80::/10",
)
LOCAL_NAMES = ("localhost", "local")


class TlsFiles(NamedTuple):
    """Where the certificates and the server's key are."""

    authority: Path
    certificate: Path
    key: Path


def tls_files(folder: Path, hosts: Sequence[str], now: datetime | None = None) -> TlsFiles:
    """The server's certificate for these names and addresses, made or renewed where that is due.

    Names outside a local network and public addresses are left out: the authority may not sign them.

    Raises:
        DataError: the extra is not installed, or the folder cannot be written.
    """
    try:
        import cryptography  # noqa: F401
    except ImportError:
        raise DataError(
            "HTTPS needs one more package. Install it with: pip install 'pitapp[https]'"
        ) from None
    moment = now or datetime.now(UTC)
    files = TlsFiles(folder / "authority.crt", folder / "server.crt", folder / "server.key")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        authority, authority_key = _authority(folder, moment)
        names = signable(hosts)
        if not _still_good(files, authority, names, moment):
            _make_leaf(files, authority, authority_key, names, moment)
    except (OSError, ValueError) as error:
        raise DataError(f"The certificates in {folder} cannot be used: {error}") from error
    return files


def signable(hosts: Sequence[str]) -> list[str]:
    """Those of the hosts that the authority may sign, this machine's own name for itself included.

    >>> signable(["192.168.1.7", "8.8.8.8", "pit-laptop.local", "example.org"])
    ['localhost', '127.0.0.1', '192.168.1.7', 'pit-laptop.local']
    """
    names = ["localhost", "127.0.0.1"]
    ranges = [ip_network(each) for each in PRIVATE_RANGES]
    for host in hosts:
        try:
            address = ip_address(host)
            allowed = any(address in each for each in ranges if each.version == address.version)
        except ValueError:
            allowed = host in LOCAL_NAMES or host.endswith(".local")
        if allowed and host not in names:
            names.append(host)
    return names


def _authority(folder: Path, now: datetime) -> tuple[x509.Certificate, EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    certificate_file, key_file = folder / "authority.crt", folder / "authority.key"
    if certificate_file.exists() and key_file.exists():
        current = x509.load_pem_x509_certificate(certificate_file.read_bytes())
        key = serialization.load_pem_private_key(key_file.read_bytes(), None)
        if not isinstance(key, ec.EllipticCurvePrivateKey):
            raise ValueError("authority.key is not pitapp's own.")
        if current.not_valid_after_utc - now > LEAF_LIFE:
            return current, key
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(f"pitapp authority {os.urandom(3).hex()}")
    networks = [x509.IPAddress(ip_network(each)) for each in PRIVATE_RANGES]
    names = [x509.DNSName(each) for each in LOCAL_NAMES]
    public = key.public_key()
    usage = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - SLACK)
        .not_valid_after(now + AUTHORITY_LIFE)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.NameConstraints([*names, *networks], None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_key(key_file, key)
    certificate_file.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    return certificate, key


def _make_leaf(
    files: TlsFiles,
    authority: x509.Certificate,
    authority_key: EllipticCurvePrivateKey,
    hosts: Sequence[str],
    now: datetime,
) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    key = ec.generate_private_key(ec.SECP256R1())
    usage = x509.KeyUsage(True, False, False, False, False, False, False, False, False)
    server = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key())
    own = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_name("pitapp"))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - SLACK)
        .not_valid_after(now - SLACK + LEAF_LIFE)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(server, critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(each) for each in hosts]), False)
        .add_extension(issuer, critical=False)
        .add_extension(own, critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    _write_key(files.key, key)
    chain = [each.public_bytes(serialization.Encoding.PEM) for each in (certificate, authority)]
    files.certificate.write_bytes(b"".join(chain))


def _still_good(
    files: TlsFiles, authority: x509.Certificate, hosts: Sequence[str], now: datetime
) -> bool:
    from cryptography import x509

    if not (files.certificate.exists() and files.key.exists()):
        return False
    leaf = x509.load_pem_x509_certificate(files.certificate.read_bytes())
    named = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return (
        leaf.issuer == authority.subject
        and leaf.not_valid_after_utc - now > RENEW_BEFORE
        and set(map(_general, hosts)) <= set(named)
    )


def _general(host: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ip_address(host))
    except ValueError:
        return x509.DNSName(host)


def _name(text: str) -> x509.Name:
    from cryptography import x509

    return x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, text)])


def _write_key(file: Path, key: EllipticCurvePrivateKey) -> None:
    from cryptography.hazmat.primitives import serialization

    fresh = file.with_name(f"{file.name}.part")
    fresh.unlink(missing_ok=True)
    fresh.touch(mode=0o600)
    fresh.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    fresh.replace(file)
