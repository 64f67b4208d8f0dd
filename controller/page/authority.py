"""A certificate authority of our own, so that a phone on the home network trusts the page without a domain name.

It is name-constrained to this machine's names and to private addresses: a stolen key cannot sign for anybody else.
A phone must be told to trust it once; `lyewatch page authority` prints a square code that leads to the file.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import socket
from collections.abc import Iterable
from pathlib import Path
from typing import Final, NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from controller.page.signing import write_secret

AUTHORITY_DAYS: Final = 3650
SERVER_DAYS: Final = 397  # browsers refuse longer ones
RENEW_DAYS: Final = 30
PRIVATE: Final = (
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "127.0.0.0/8",
    "169.254.0.0/16",
    "fc00::/7",
    "fe80::/10",
    "::1/128",
)


class Certificates(NamedTuple):
    authority: Path
    certificate: Path
    key: Path
    fingerprint: str  # SHA-256 of the authority, to be compared on the phone


def own_addresses() -> list[str]:
    """Addresses under which this machine is reached, without asking anybody: no packet is sent."""
    found = {"127.0.0.1"}
    for family, far in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((far, 9))
            except OSError:
                continue
            found.add(probe.getsockname()[0].split("%")[0])
    return sorted(found)


def _allowed(addresses: Iterable[str]) -> set[str]:
    """Those that the authority may sign for."""
    networks = [ipaddress.ip_network(n) for n in PRIVATE]
    return {a for a in addresses if any(ipaddress.ip_address(a) in n for n in networks)}


def own_names() -> list[str]:
    short = socket.gethostname().lower().split(".")[0]
    return ["localhost", short, f"{short}.local"]


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _key(path: Path) -> ec.EllipticCurvePrivateKey:
    found = serialization.load_pem_private_key(path.read_bytes(), None)
    if not isinstance(found, ec.EllipticCurvePrivateKey):
        raise ValueError(
            f"{path} holds another kind of key; move the folder away and run 'lyewatch page authority' again"
        )
    return found


def _make_authority(folder: Path, names: Iterable[str], now: dt.datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = _name(f"Lyewatch page on {socket.gethostname()}")
    allowed: list[x509.GeneralName] = [x509.DNSName(n) for n in names]
    allowed += [x509.IPAddress(ipaddress.ip_network(n)) for n in PRIVATE]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(allowed, None), critical=True)
        .add_extension(
            x509.KeyUsage(False, False, False, False, False, True, True, False, False),  # signs certificates, no more
            critical=True,
        )
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    write_secret(folder / "authority-key.pem", _pem(key))
    write_secret(folder / "authority.pem", certificate.public_bytes(serialization.Encoding.PEM))


def _make_server(folder: Path, names: Iterable[str], addresses: Iterable[str], now: dt.datetime) -> None:
    authority = x509.load_pem_x509_certificate((folder / "authority.pem").read_bytes())
    signer = _key(folder / "authority-key.pem")
    key = ec.generate_private_key(ec.SECP256R1())
    shown: list[x509.GeneralName] = [x509.DNSName(n) for n in names]
    shown += [x509.IPAddress(ipaddress.ip_address(a)) for a in sorted(_allowed(addresses))]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_name("Lyewatch page"))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=SERVER_DAYS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName(shown), critical=False)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(signer, hashes.SHA256())
    )
    write_secret(folder / "page-key-tls.pem", _pem(key))
    write_secret(folder / "page.pem", certificate.public_bytes(serialization.Encoding.PEM))


def _good_server(path: Path, names: Iterable[str], addresses: Iterable[str], now: dt.datetime) -> bool:
    if not path.exists():
        return False
    certificate = x509.load_pem_x509_certificate(path.read_bytes())
    shown = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    has = {*shown.get_values_for_type(x509.DNSName), *map(str, shown.get_values_for_type(x509.IPAddress))}
    wanted = {*names, *_allowed(addresses)}
    return certificate.not_valid_after_utc - now > dt.timedelta(days=RENEW_DAYS) and wanted <= has


def certificates(folder: Path, more_names: Iterable[str] = (), now: dt.datetime | None = None) -> Certificates:
    """The authority and the page's own certificate in `folder`, made or renewed where needed.

    A name that the authority does not allow needs a new authority: raises ValueError and says so.
    """
    now = now or dt.datetime.now(dt.UTC)
    names = [*own_names(), *more_names]
    authority = folder / "authority.pem"
    if not authority.exists():
        _make_authority(folder, names, now)
    made = x509.load_pem_x509_certificate(authority.read_bytes())
    allowed = made.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    missing = set(names) - {n.value for n in allowed if isinstance(n, x509.DNSName)}
    if missing:
        raise ValueError(
            f"the authority in {folder} may not sign for {', '.join(sorted(missing))}."
            " Move the folder away; a new one is made, which every phone must be told to trust anew"
        )
    addresses = own_addresses()
    if not _good_server(folder / "page.pem", names, addresses, now):
        _make_server(folder, names, addresses, now)
    digest = made.fingerprint(hashes.SHA256()).hex().upper()
    return Certificates(
        authority,
        folder / "page.pem",
        folder / "page-key-tls.pem",
        ":".join(digest[i : i + 2] for i in range(0, 64, 2)),
    )
