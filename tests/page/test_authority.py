"""The authority of our own: what it signs is trusted where it should be, and nowhere else."""

from __future__ import annotations

import datetime as dt
import ipaddress
import ssl
import stat
import subprocess
from pathlib import Path

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from controller.page.authority import RENEW_DAYS, SERVER_DAYS, certificates
from tests.broker import free_port
from tests.page.stage import Stage


def verdict(authority: Path, certificate: Path) -> str:
    """OpenSSL's own word."""
    done = subprocess.run(
        ["openssl", "verify", "-CAfile", str(authority), str(certificate)], capture_output=True, text=True, check=False
    )
    return done.stdout + done.stderr


def signed_for(folder: Path, name: x509.GeneralName) -> Path:
    """What a thief of the authority's key would make."""
    key = serialization.load_pem_private_key((folder / "authority-key.pem").read_bytes(), None)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    issuer = x509.load_pem_x509_certificate((folder / "authority.pem").read_bytes())
    now = dt.datetime.now(dt.UTC)
    forged = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([name]), critical=True)
        .sign(key, hashes.SHA256())
    )
    path = folder / "forged.pem"
    path.write_bytes(forged.public_bytes(serialization.Encoding.PEM))
    return path


def test_what_it_makes_verifies_and_keys_are_for_their_owner_alone(tmp_path: Path) -> None:
    made = certificates(tmp_path)
    assert ": OK" in verdict(made.authority, made.certificate)
    for name in ("authority-key.pem", "page-key-tls.pem"):
        assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "name", [x509.DNSName("bank.example"), x509.IPAddress(ipaddress.ip_address("8.8.8.8"))], ids=["name", "address"]
)
def test_a_stolen_key_signs_for_nobody_else(tmp_path: Path, name: x509.GeneralName) -> None:
    made = certificates(tmp_path)
    assert "permitted subtree violation" in verdict(made.authority, signed_for(tmp_path, name))


def test_a_private_address_may_be_signed_so_the_refusal_above_is_for_its_reason(tmp_path: Path) -> None:
    made = certificates(tmp_path)
    assert ": OK" in verdict(made.authority, signed_for(tmp_path, x509.IPAddress(ipaddress.ip_address("192.168.7.7"))))


def test_a_certificate_is_renewed_in_time_and_the_authority_stays(tmp_path: Path) -> None:
    first = certificates(tmp_path)
    before, authority = first.certificate.read_bytes(), first.authority.read_bytes()
    assert certificates(tmp_path).certificate.read_bytes() == before
    late = dt.datetime.now(dt.UTC) + dt.timedelta(days=SERVER_DAYS - RENEW_DAYS + 1)
    assert certificates(tmp_path, now=late).certificate.read_bytes() != before
    assert first.authority.read_bytes() == authority


def test_a_name_it_may_not_sign_for_is_refused_in_words(tmp_path: Path) -> None:
    certificates(tmp_path)
    with pytest.raises(ValueError, match=r"may not sign for shed\.example"):
        certificates(tmp_path, ["shed.example"])


def test_the_page_is_served_with_it_and_a_phone_that_trusts_it_needs_no_more(tmp_path: Path) -> None:
    port = free_port()
    stage = Stage(tmp_path, "--open-view", "--own-authority", "--authority-port", str(port))
    try:
        trust = ssl.create_default_context(cadata=httpx.get(f"http://127.0.0.1:{port}/authority.crt").text)
        answer = httpx.get(f"{stage.address}/", verify=trust)
        assert answer.status_code == 200
        assert answer.headers["strict-transport-security"].startswith("max-age=")
        helping = httpx.get(f"http://127.0.0.1:{port}/").text
        assert certificates(stage.state / "authority").fingerprint in helping
        assert httpx.get(f"http://127.0.0.1:{port}/live").status_code == 404
        stage.person("ada", "operator")
        with httpx.Client(base_url=stage.address, verify=trust, headers={"Origin": stage.address}) as client:
            answer = client.post("/api/login", json={"name": "ada", "password": "a long pass phrase"})
        assert answer.headers["set-cookie"].startswith("__Host-lyewatch=")
        assert "Secure" in answer.headers["set-cookie"]
    finally:
        stage.close()
