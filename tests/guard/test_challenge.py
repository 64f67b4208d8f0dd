"""Signed requests: a challenge is good once, for ten seconds of the guard's own time, and for enrolled keys alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from controller.guard.challenge import Challenges, Keys


def test_a_challenge_is_good_once() -> None:
    challenges = Challenges("b0")
    shown = challenges.newest(0.0)
    assert challenges.take(shown, 1.0) == ""
    assert "used before" in challenges.take(shown, 1.0)


def test_a_challenge_is_good_for_ten_seconds() -> None:
    challenges = Challenges("b0")
    first = challenges.newest(0.0)
    second = challenges.newest(1.0)
    assert "too old" in challenges.take(first, 10.0)
    assert challenges.take(second, 10.9) == ""


def test_a_challenge_nobody_showed_is_refused() -> None:
    challenges = Challenges("b0")
    challenges.newest(0.0)
    assert "not known" in challenges.take("b0-1-00", 0.5)
    assert "quotes no challenge" in challenges.take("", 0.5)


def test_there_is_a_new_one_each_second_and_each_is_different() -> None:
    challenges = Challenges("b0")
    shown = [challenges.newest(tenth / 10.0) for tenth in range(30)]
    assert len(set(shown)) == 3


def test_a_signature_counts_only_from_an_enrolled_key_over_the_very_text(tmp_path: Path) -> None:
    private = Ed25519PrivateKey.generate()
    (tmp_path / "ada.pub").write_text(private.public_key().public_bytes_raw().hex() + "\n")
    keys = Keys(tmp_path)
    signature = private.sign(b"stop, please")
    assert keys.names == ("ada",)
    assert keys.verify("ada", "stop, please", signature) == ""
    assert "not that of key 'ada'" in keys.verify("ada", "start, please", signature)
    assert "not that of key 'ada'" in keys.verify("ada", "stop, please", b"")
    assert "no key 'eve'" in keys.verify("eve", "stop, please", signature)


@pytest.mark.parametrize("content", ["", "zz", "00" * 31, "00" * 33])
def test_a_bad_key_file_is_named_and_enrols_nobody(tmp_path: Path, content: str) -> None:
    (tmp_path / "ada.pub").write_text(content)
    keys = Keys(tmp_path)
    assert keys.names == ()
    assert "ada.pub" in keys.bad[0]


def test_without_keys_the_library_is_not_even_loaded(tmp_path: Path) -> None:
    import subprocess
    import sys

    program = (
        "import sys; from pathlib import Path; from controller.guard.challenge import Keys; "
        "Keys(Path(sys.argv[1])); sys.exit('cryptography' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program, str(tmp_path)], timeout=60, check=False).returncode == 0
