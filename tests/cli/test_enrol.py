"""Enrolling a key at the rig: what the guard then reads, and what keeps the wrong key out."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner, Result
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from controller.cli.enrol import enrol, enrolled, pairing_code
from controller.cli.problems import Problem
from controller.guard.challenge import Keys
from controller.page.signing import PageKey


def said(folder: Path, *arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(enrol, [*arguments, "--state-dir", str(folder)], input=typed)


def test_the_guard_takes_the_pages_signature_once_its_key_is_enrolled_and_no_more_once_revoked(tmp_path: Path) -> None:
    private = Ed25519PrivateKey.generate()
    key = PageKey(private)
    answer = said(tmp_path, key.public.hex(), "--whose", "phone page", typed=f"{key.id}\n")
    assert answer.exit_code == 0, answer.output
    assert pairing_code(key.id) in answer.output
    text = '{"do":"start"}'
    keys = Keys(tmp_path / "keys")
    assert keys.names == (key.id,)
    assert keys.verify(key.id, text, private.sign(text.encode())) == ""
    assert "phone page" in said(tmp_path).output
    assert said(tmp_path, "--revoke", key.id).exit_code == 0
    assert "no longer enrolled" in keys.verify(key.id, text, private.sign(text.encode())), "a guard that runs"
    assert "enrolled" in Keys(tmp_path / "keys").verify(key.id, text, private.sign(text.encode()))
    assert enrolled(tmp_path / "keys") == []


def test_a_wrong_code_a_short_key_and_an_unknown_one_change_nothing(tmp_path: Path) -> None:
    key = PageKey(Ed25519PrivateKey.generate())
    for arguments, typed in (
        ((key.public.hex(),), "0000\n" if key.id[-4:] != "0000" else "1111\n"),
        ((key.public.hex()[:-1],), ""),
        (("--revoke", "../../etc/passwd"), ""),
    ):
        answer = said(tmp_path, *arguments, typed=typed)
        assert isinstance(answer.exception, Problem), answer.output
    assert enrolled(tmp_path / "keys") == []
