"""An authority and certificates for a test, with any dates."""

from __future__ import annotations

import datetime as dt
import ipaddress
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

DAY = dt.timedelta(days=1)


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


class Authority:
    def __init__(self, folder: Path, name: str = "test authority") -> None:
        self._folder, self._key, self._name = folder, ec.generate_private_key(ec.SECP256R1()), _name(name)
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / "authority.pem"
        now = dt.datetime.now(dt.UTC)
        usage = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
        made = self._builder(self._name, self._key.public_key(), now - 400 * DAY, now + 400 * DAY)
        made = made.add_extension(x509.BasicConstraints(True, None), critical=True).add_extension(usage, critical=True)
        self.path.write_bytes(made.sign(self._key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))

    def _builder(
        self, subject: x509.Name, public: ec.EllipticCurvePublicKey, begin: dt.datetime, end: dt.datetime
    ) -> x509.CertificateBuilder:
        identifier = x509.SubjectKeyIdentifier.from_public_key(public)
        issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key())
        made = x509.CertificateBuilder().subject_name(subject).issuer_name(self._name).public_key(public)
        made = made.serial_number(x509.random_serial_number()).not_valid_before(begin).not_valid_after(end)
        return made.add_extension(identifier, critical=False).add_extension(issuer, critical=False)

    def issue(self, common: str, days: tuple[int, int] = (-1, 30), host: str = "127.0.0.1") -> tuple[Path, Path]:
        """Certificate and key; days: from and to, counted from now."""
        key = ec.generate_private_key(ec.SECP256R1())
        now = dt.datetime.now(dt.UTC)
        made = self._builder(_name(common), key.public_key(), now + days[0] * DAY, now + days[1] * DAY)
        address = x509.IPAddress(ipaddress.ip_address(host))
        made = made.add_extension(x509.SubjectAlternativeName([address]), critical=False)
        paths = self._folder / f"{common}.pem", self._folder / f"{common}-key.pem"
        paths[0].write_bytes(made.sign(self._key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
        form = (serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
        paths[1].write_bytes(key.private_bytes(*form))
        return paths
