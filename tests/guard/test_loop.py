"""The scan loop on a clock of its own, around the real core."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.core.commands import Source, Verb
from controller.core.frame import header, unpack
from controller.core.memory import first
from controller.core.step import step
from controller.core.trips import Latch
from controller.guard.challenge import Keys
from controller.guard.protocol import VERBS, do, dumps
from controller.guard.sockets import Mail
from tests.core.bench import rig
from tests.guard.pretend import BOOT, Desk, Line

Lines = Callable[[Source], Line]


def ask(desk: Desk, line: Line, message: dict[str, object]) -> bytes:
    """The answer to one message, which takes a scan to be heard and one to be decided."""
    desk.sockets.mail.append(Mail(line.peer, dumps(message)))
    desk.scan(2)
    return line.answer()


def running(desk: Desk, line: Line) -> Desk:
    desk.scan(20)
    answer = ask(desk, line, do(Verb.START))
    assert b'"accepted":true' in answer, answer
    desk.until("RUNNING")
    return desk


def test_a_start_at_the_rig_runs_and_a_stop_opens(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    assert desk.path_closed
    assert b'"accepted":true' in ask(desk, line(Source.LOCAL), do(Verb.STOP))
    desk.until("COOLING")
    assert not desk.path_closed


def test_a_button_is_a_command(desk: Desk) -> None:
    desk.scan(20)
    desk.hands.pressed = ["start"]
    desk.scan()
    assert ("ACCEPTED", "START", "") in desk.said()


def test_nothing_on_the_pins_until_the_latch_is_on_disk(desk: Desk, line: Lines) -> None:
    desk.scan(20)
    desk.latches.stalled = True
    assert b'"accepted":true' in ask(desk, line(Source.LOCAL), do(Verb.START))
    desk.scan(100)
    assert desk.state == "CHECKING"
    assert not desk.path_closed
    desk.latches.stalled = False
    desk.until("RUNNING")


def test_a_stalled_card_delays_neither_a_trip_nor_the_contactor(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    desk.latches.stalled = True
    desk.hands.numbers["stop chain"] = 0.0
    desk.scan(2)
    assert desk.state == "TRIPPED"
    assert not desk.path_closed


def test_a_late_scan_gives_no_edge_and_says_so(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    edges = len(desk.hands.drives.edges)
    desk.hands.drives.stall_in_write_s = 0.15
    desk.scan()
    assert len(desk.hands.drives.edges) == edges
    assert desk.guard.late_scans == 1
    assert ("LATE_SCAN", "edge withheld", "0.150 s late") in desk.said()


def test_a_scan_just_in_time_gives_its_edge(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    edges = len(desk.hands.drives.edges)
    desk.hands.drives.stall_in_write_s = 0.09
    desk.scan()
    assert len(desk.hands.drives.edges) == edges + 1


def test_frozen_between_the_pins_and_the_edge_the_contactor_falls_and_stays_open(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    desk.hands.drives.stall_in_write_s = 5.0
    desk.scan()
    assert not desk.path_closed
    closings = len(desk.hands.drives.parts.closings)
    desk.scan(100)
    assert desk.state == "TRIPPED"
    assert len(desk.hands.drives.parts.closings) == closings
    assert "scan gap" in [c.name for c in desk.guard.memory.latch.causes]


def test_scan_proof_comes_from_every_scan_in_time_and_from_no_late_one(desk: Desk) -> None:
    desk.scan(10)
    assert len(desk.proofs) == 10
    desk.hands.drives.stall_in_write_s = 0.5
    desk.scan()
    assert len(desk.proofs) == 10


def test_a_welded_contactor_keeps_the_scan_proof_and_loses_the_edges(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    desk.hands.drives.parts.main_welded = True
    desk.hands.numbers["stop chain"] = 0.0
    desk.scan(30)
    proofs, edges = len(desk.proofs), len(desk.hands.drives.edges)
    desk.scan(50)
    assert len(desk.proofs) == proofs + 50
    assert len(desk.hands.drives.edges) == edges
    assert desk.state == "LOCKED_OUT"


def test_a_pin_that_cannot_be_written_gets_no_edge_and_the_guard_goes_on(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    edges = len(desk.hands.drives.edges)
    desk.hands.drives.broken = OSError(5, "Input/output error")
    desk.scan(3)
    assert len(desk.hands.drives.edges) == edges
    assert any(subject == "a pin cannot be written" for _, subject, _ in desk.said())


def test_a_pin_that_reads_otherwise_than_driven_trips(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    desk.hands.drives.stuck["main_close"] = True
    desk.scan(2)
    assert [c.name for c in desk.guard.memory.latch.causes] == ["output not obeyed"]


def test_times_are_absolute_and_missed_scans_are_not_made_up_for(desk: Desk) -> None:
    scans: list[float] = []

    def ended() -> bool:
        scans.append(desk.clock.now_s)
        if len(scans) == 5:
            desk.clock.now_s += 0.735  # the process was stopped
        return len(scans) > 10

    began_s = desk.clock.now_s
    desk.guard.run(ended)
    tenths = [round((s - began_s) * 10.0, 6) for s in scans]
    assert tenths[:11] == [0, 1, 2, 3, 4, 11.35, 12, 13, 14, 15, 16]


def test_an_orderly_end_ramps_down_opens_and_leaves_a_healthy_latch(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    desk.guard.run(lambda: True)
    desk.guard.end()
    latch = desk.latches.given[-1]
    assert not desk.path_closed
    assert (latch.powered, latch.tripped, latch.starts_without_health) == (False, False, 0)


def test_every_event_is_in_the_ring_once_under_its_own_number(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    desk.hands.drives.stall_in_write_s = 0.15
    desk.scan(5)
    numbers = [kept.event.number for kept in desk.guard.ring.after(0, 10_000)]
    assert numbers == list(range(1, desk.guard.memory.events + 1))


def test_frames_hold_what_was_read_and_asked_so_that_the_core_decides_the_same_again(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    frames = [unpack(desk.rig, frame) for frame in desk.sockets.frames]
    memory = first(desk.rig, Latch(1, desk.rig.rig_hash, powered=False), 1000.0)
    for frame in frames:
        memory, _, _ = step(desk.rig, memory, frame.inputs, frame.commands, frame.memory.now_s)
        assert memory == frame.memory
    assert {header(frame)[0] for frame in desk.sockets.frames} == {BOOT}


def test_a_trip_leaves_an_incident_with_the_frames_around_it(desk: Desk, line: Lines) -> None:
    running(desk, line(Source.LOCAL))
    desk.hands.numbers["stop chain"] = 0.0
    desk.scan()
    tripped_s = desk.clock.now_s
    desk.scan(1195)
    assert desk.incidents.given == {}, "not before its two minutes are over"
    desk.scan(10)
    [(name, incident)] = desk.incidents.given.items()
    assert incident.header["causes"] == ["stop chain"]
    assert incident.header["complete"] is True
    assert name.endswith(f"{BOOT[:6]}-" + name[-6:])
    times = [header(frame)[3] for frame in incident.frames]
    assert times[-1] == pytest.approx(tripped_s + 120.0, abs=0.11)
    assert times[0] <= tripped_s - 20.0
    assert b'"what": "trip"' in incident.events


def test_what_ails_the_controller_is_said_once_and_forbids_a_start(desk: Desk, line: Lines) -> None:
    desk.health.faults = ("the disk is full",)
    desk.scan(20)
    assert [s for s in desk.said() if s[2] == "the disk is full"] == [("NOTE", "controller", "the disk is full")]
    assert b"the controller is not well" in ask(desk, line(Source.LOCAL), do(Verb.START))


def test_status_is_answered_at_once(desk: Desk, line: Lines) -> None:
    one = line(Source.LOCAL)
    desk.sockets.mail.append(Mail(one.peer, dumps({"ask": "status", "id": "7"})))
    desk.scan()
    answer = one.answer()
    assert b'"id":"7"' in answer
    assert b'"state":"off"' in answer


def test_only_the_link_acknowledges_events(desk: Desk, line: Lines) -> None:
    assert b"only the link" in ask(desk, line(Source.LOCAL), {"acknowledge": 1})
    assert b'"accepted":true' in ask(desk, line(Source.LINK), {"acknowledge": 1})


def test_a_message_that_is_not_understood_is_answered_with_why(desk: Desk, line: Lines) -> None:
    one = line(Source.LOCAL)
    desk.sockets.mail.append(Mail(one.peer, b"{"))
    desk.scan()
    assert b'"error":"not JSON' in one.answer()


# --- from afar


@pytest.fixture
def private() -> Ed25519PrivateKey:
    return Ed25519PrivateKey.generate()


@pytest.fixture
def signed_desk(tmp_path: Path, private: Ed25519PrivateKey) -> Desk:
    (tmp_path / "ada.pub").write_text(private.public_key().public_bytes_raw().hex())
    desk = Desk(Keys(tmp_path))
    desk.scan(20)
    return desk


def signed(private: Ed25519PrivateKey, message: dict[str, object]) -> dict[str, object]:
    text = dumps(message).decode()
    return {"signed": text, "key": "ada", "signature": private.sign(text.encode()).hex()}


def test_the_link_may_stop_unsigned(signed_desk: Desk, line: Lines) -> None:
    running(signed_desk, line(Source.LOCAL))
    assert b'"accepted":true' in ask(signed_desk, line(Source.LINK), do(Verb.STOP))
    signed_desk.until("COOLING")
    assert not signed_desk.path_closed


def test_a_retained_stop_is_refused_and_recorded(signed_desk: Desk, line: Lines) -> None:
    running(signed_desk, line(Source.LOCAL))
    assert b"retained" in ask(signed_desk, line(Source.LINK), do(Verb.STOP, retained=True))
    assert any(what == "REFUSED" and "retained" in why for what, _, why in signed_desk.said())
    assert signed_desk.path_closed


def test_with_enable_card_key_and_challenge_a_remote_start_runs(
    signed_desk: Desk, line: Lines, private: Ed25519PrivateKey
) -> None:
    local = line(Source.LOCAL)
    for verb in (Verb.ENABLE, Verb.CONFIRM):
        assert b'"accepted":true' in ask(signed_desk, local, do(verb))
    challenge = signed_desk.guard.about().challenge
    message = signed(private, do(Verb.START, seconds=3600.0, challenge=challenge))
    assert b'"accepted":true' in ask(signed_desk, line(Source.LINK), message)
    signed_desk.until("RUNNING")
    assert signed_desk.guard.memory.run.asked_by == Source.REMOTE
    assert b"used before" in ask(signed_desk, line(Source.LINK), message), "the same message again dies"


@pytest.mark.parametrize("missing", ["enable", "card", "challenge", "signature", "door", "key"])
def test_a_remote_start_without_any_one_of_them_is_refused_and_recorded(
    signed_desk: Desk, line: Lines, private: Ed25519PrivateKey, missing: str, tmp_path: Path
) -> None:
    """key: revoked while the guard runs."""
    local = line(Source.LOCAL)
    for what, verb in (("enable", Verb.ENABLE), ("card", Verb.CONFIRM)):
        if what != missing:
            ask(signed_desk, local, do(verb))
    challenge = "" if missing == "challenge" else signed_desk.guard.about().challenge
    message = signed(private, do(Verb.START, seconds=3600.0, challenge=challenge))
    if missing == "signature":
        message["signature"] = "00" * 64
    if missing == "key":
        (tmp_path / "ada.pub").unlink()
    door = line(Source.PLAN if missing == "door" else Source.LINK)
    assert b'"accepted":false' in ask(signed_desk, door, message)
    assert signed_desk.said()[-1][0] == "REFUSED"
    signed_desk.scan(200)
    assert not signed_desk.path_closed


def test_signatures_are_checked_once_a_scan_at_most(
    signed_desk: Desk, line: Lines, private: Ed25519PrivateKey, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked: list[str] = []

    def verify(_keys: Keys, _name: str, text: str, _signature: bytes) -> str:
        checked.append(text)
        return "no"

    monkeypatch.setattr(Keys, "verify", verify)
    one = line(Source.LINK)
    for _ in range(4):
        signed_desk.sockets.mail.append(Mail(one.peer, dumps(signed(private, do(Verb.RESET)))))
    signed_desk.scan()
    assert len(checked) == 1


def test_a_flood_of_orders_is_cut_short_counted_and_told_and_a_stop_still_obeyed(desk: Desk, line: Lines) -> None:
    link, local = line(Source.LINK), line(Source.LOCAL)
    running(desk, local)
    events = desk.guard.memory.events
    for _ in range(150):
        desk.sockets.mail.append(Mail(link.peer, dumps(do(Verb.START))))
        desk.scan()
    refused = [s for s in desk.said()[events:] if s[0] == "REFUSED"]
    assert 20 <= len(refused) <= 20 + 2 * 15 + 2, "twenty at once, then two a second"
    dropped = desk.guard.about().dropped_messages["too many"]
    assert dropped == 150 - len(refused) - len(desk.guard._commands)
    assert any(subject == "messages dropped" for _, subject, _ in desk.said())
    desk.sockets.mail.append(Mail(link.peer, dumps(do(Verb.STOP))))
    desk.until("COOLING", 15.0)


_FIELD = st.fixed_dictionaries(
    {},
    optional={
        "number": st.floats(0, 40) | st.none(),
        "seconds": st.floats(0, 9999),
        "charge_c": st.floats(0, 1e6),
        "who": st.sampled_from(["Ada", "button", "local"]),
        "text": st.just("because"),
        "subject": st.sampled_from(["main_hold", "over-current", "coolant"]),
        "challenge": st.just("newest"),
        "retained": st.booleans(),
    },
)
_PLAIN = st.builds(lambda verb, fields: {"do": verb} | fields, st.sampled_from(sorted(VERBS)), _FIELD)
_WRAPPED = st.builds(
    lambda message, key, junk: {"signed": dumps(message).decode(), "key": key, "signature": junk.hex()},
    _PLAIN,
    st.sampled_from(["", "ada", "eve"]),
    st.binary(max_size=64),
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(messages=st.lists(_PLAIN | _WRAPPED, max_size=40), enabled=st.booleans(), tripped=st.booleans())
def test_no_message_on_the_links_socket_energises(
    tmp_path_factory: pytest.TempPathFactory, messages: list[dict[str, object]], enabled: bool, tripped: bool
) -> None:
    """Nobody without an enrolled private key: not with the local enable, not with a true challenge."""
    folder = tmp_path_factory.getbasetemp() / "enrolled"
    folder.mkdir(exist_ok=True)
    if not (folder / "ada.pub").exists():
        (folder / "ada.pub").write_text(Ed25519PrivateKey.generate().public_key().public_bytes_raw().hex())
    everything = frozenset((verb, source) for verb in Verb for source in Source)
    desk = Desk(Keys(folder), rig(permitted=everything))
    link, local = Line(Source.LINK), Line(Source.LOCAL)
    desk.scan(20)
    if enabled:
        ask(desk, local, do(Verb.ENABLE))
        ask(desk, local, do(Verb.CONFIRM))
    if tripped:
        desk.hands.numbers["stop chain"] = 0.0
        desk.scan(2)
        desk.hands.numbers["stop chain"] = 1.0
    for message in messages:
        if message.get("challenge") == "newest":
            message = message | {"challenge": desk.guard.about().challenge}
        desk.sockets.mail.append(Mail(link.peer, dumps(message)))
        desk.scan()
        outputs = desk.guard.memory.outputs
        assert not any((outputs.main_hold, outputs.main_close, outputs.second, outputs.edge))
    desk.scan(100)
    assert desk.hands.drives.edges == []
    assert not tripped or desk.state == "TRIPPED"
    link.close()
    local.close()
