"""What is written around a trip comes back whole, or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.guard import incidents
from controller.guard.incidents import Incident, IncidentWriter, decode, encode

ONE = Incident({"rig": "pretend", "causes": ["leak"]}, (b"first", b"", b"third" * 100), b'[{"number":1}]')


def test_an_incident_comes_back_whole() -> None:
    found = decode(encode(ONE))
    assert found.header == {"rig": "pretend", "causes": ["leak"], "frames": 3}
    assert found[1:] == ONE[1:]


def test_every_altered_byte_is_noticed() -> None:
    data = encode(ONE)
    for place in range(len(data)):
        changed = bytearray(data)
        changed[place] ^= 0x10
        with pytest.raises(ValueError, match=r"not an incident file|damaged"):
            decode(bytes(changed))


def test_the_oldest_go_first_and_no_half_file_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(incidents, "KEPT", 3)
    writer = IncidentWriter(tmp_path)
    for number in range(5):
        writer.give(f"2026010{number}", ONE)
        assert not writer.idle
        writer.write_next()
    assert writer.idle
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"2026010{n}.incident" for n in (2, 3, 4)]


def test_a_disk_that_takes_nothing_is_said_and_does_not_end_the_thread(tmp_path: Path) -> None:
    (tmp_path / "in the way").write_text("")
    writer = IncidentWriter(tmp_path / "in the way")
    writer.give("one", ONE)
    writer.write_next()
    assert "one could not be written" in writer.error
    assert writer.idle
