"""Contacts as shares of time, from edges and from the level read at every poll; and buttons."""

from __future__ import annotations

from random import Random

import pytest

from controller.core.signals import Code
from controller.hardware.description import Switch
from controller.hardware.edges import EdgeLog
from controller.hardware.switches import Button, Contact

from .rig import PinRig

FLOAT = Switch(6)  # closed to ground when there is enough
CLOSED, OPEN = False, None


class ContactRig(PinRig):
    def __init__(self, closed: bool = True) -> None:
        super().__init__()
        self.clock.now_s = 0.0
        self.board.drive(6, CLOSED if closed else OPEN, 0.0)
        self.log = EdgeLog(self.pins, 6, "up", self.clock)
        self.contact = Contact(FLOAT, self.log)
        self.contact.poll(0.0)

    def share(self, now_s: float) -> float:
        self.clock.now_s = max(self.clock.now_s, now_s)
        number = self.contact.poll(now_s).number
        assert number is not None
        return number


def test_a_closed_contact_is_proven_all_the_time_and_an_open_one_never() -> None:
    rig = ContactRig()
    assert rig.share(0.1) == 1.0
    rig.edges(6, (0.1, OPEN))
    assert [rig.share(at / 10) for at in range(2, 6)] == pytest.approx([0.0] * 4)


def test_the_share_is_that_of_the_time_between_two_polls() -> None:
    rig = ContactRig()
    rig.edges(6, (0.02, OPEN), (0.05, CLOSED))
    assert rig.share(0.1) == pytest.approx(0.7)
    rig.edges(6, (0.18, OPEN))
    assert rig.share(0.2) == pytest.approx(0.8)
    assert rig.share(0.3) == 0.0


@pytest.mark.parametrize("phase", range(10))
def test_chatter_at_five_hertz_shows_its_true_share_at_every_phase_of_the_scan(phase: int) -> None:
    """One sample a scan would see all of it or nothing."""
    rig, shares = ContactRig(), []
    changes = [(0.01 * phase + 0.2 * n + closed * 0.09, closed) for n in range(50) for closed in (0, 1)]
    for scan in range(1, 101):
        while changes and changes[0][0] <= scan / 10:
            at_s, closed = changes.pop(0)
            rig.edges(6, (at_s, CLOSED if closed else OPEN))
        shares.append(rig.share(scan / 10))
    assert sum(shares) / len(shares) == pytest.approx(0.55, abs=0.01)


def test_a_lost_edge_cannot_hide_that_a_contact_has_opened() -> None:
    """Case A24 (c)."""
    rig = ContactRig()
    rig.share(0.1)
    rig.board.lose_edges(6, True)
    rig.edges(6, (0.15, OPEN))
    assert rig.share(0.2) == 0.0
    assert rig.share(0.3) == 0.0
    assert rig.contact.lost_edges == 1
    assert rig.contact.proven is False


def test_a_lost_edge_cannot_hide_that_it_has_closed_again_but_proves_nothing_backwards() -> None:
    rig = ContactRig(closed=False)
    rig.board.lose_edges(6, True)
    rig.edges(6, (0.05, CLOSED))
    assert rig.share(0.1) == 0.0
    assert rig.share(0.2) == 1.0


def test_an_edge_that_arrives_after_its_poll_is_not_counted_twice() -> None:
    rig = ContactRig()
    rig.clock.now_s = 0.1
    rig.board.lose_edges(6, True)
    rig.board.drive(6, OPEN, 0.09)
    assert rig.share(0.1) == 0.0
    rig.board.lose_edges(6, False)
    rig.log._seen(0.09, 1)  # what the library's thread delivers late
    assert rig.share(0.2) == 0.0
    rig.edges(6, (0.25, CLOSED))
    assert rig.share(0.3) == pytest.approx(0.5)


def test_an_edge_stamped_just_before_the_last_poll_but_told_after_it_counts_from_that_poll() -> None:
    rig = ContactRig()
    assert rig.share(0.1) == 1.0  # the level was read a moment before the contact opened
    rig.board.drive(6, OPEN, 0.0999)
    assert rig.share(0.2) == 0.0


def test_an_edge_after_the_time_polled_for_waits_for_the_next_poll() -> None:
    rig = ContactRig()
    rig.edges(6, (0.105, OPEN))
    rig.share(0.1)
    rig.edges(6, (0.15, CLOSED))
    assert rig.share(0.2) == pytest.approx(0.5, abs=0.06)


@pytest.mark.parametrize("seed", range(20))
def test_whatever_the_edges_and_the_scans_the_share_is_the_integral(seed: int) -> None:
    rig, random = ContactRig(), Random(seed)
    times = sorted(random.uniform(0.0, 20.0) for _ in range(400))
    changes = [(at_s, bool(index % 2)) for index, at_s in enumerate(times)]  # opens first
    closed = True
    scans, now_s = [], 0.0
    while now_s < 20.0:
        now_s += random.choice([0.02, 0.1, 0.1, 0.1, 0.3])
        scans.append(now_s)
    proven_s, last_s = 0.0, 0.0
    for scan_s in scans:
        while changes and changes[0][0] <= scan_s:
            at_s, closes = changes.pop(0)
            rig.edges(6, (at_s, CLOSED if closes else OPEN))
            proven_s += 0.0 if closes else at_s - last_s
            last_s = at_s
            closed = closes
        expected = proven_s + (scan_s - last_s if closed else 0.0)
        share = rig.share(scan_s)
        assert 0.0 <= share <= 1.0
        assert share * (scan_s - (scans[scans.index(scan_s) - 1] if scan_s != scans[0] else 0.0)) == pytest.approx(
            expected, abs=1e-9
        )
        proven_s, last_s = 0.0, scan_s


def test_a_pin_that_cannot_be_read_says_nothing_and_proves_nothing() -> None:
    rig = ContactRig()

    def broken(pin: int) -> bool:
        raise OSError(5, "input/output error")

    rig.board.read = broken  # type: ignore[method-assign]
    assert rig.contact.poll(0.1)[0::2] == (None, Code.BUS_ERROR)
    assert rig.contact.proven is None


def test_two_polls_at_the_same_time_give_the_level() -> None:
    rig = ContactRig()
    rig.share(0.1)
    assert rig.share(0.1) == 1.0


@pytest.mark.parametrize(("pull", "proven_when"), [("up", "high"), ("down", "low")])
def test_a_contact_that_a_broken_wire_would_prove_is_refused(pull: str, proven_when: str) -> None:
    with pytest.raises(ValueError, match=r"reads .* when the wire breaks"):
        Switch(6, pull, proven_when)


class ButtonRig(PinRig):
    def __init__(self, held: bool = False) -> None:
        super().__init__()
        self.clock.now_s = 0.0
        self.board.drive(15, CLOSED if held else OPEN, 0.0)
        self.button = Button(Switch(15), EdgeLog(self.pins, 15, "up", self.clock))

    def presses(self, now_s: float) -> int:
        self.clock.now_s = max(self.clock.now_s, now_s)
        return self.button.poll(now_s)


def test_one_press_is_one_press_however_it_bounces_and_however_long_it_is_held() -> None:
    rig = ButtonRig()
    rig.edges(15, *((0.05 + i * 0.001, CLOSED if i % 2 == 0 else OPEN) for i in range(9)))
    assert sum(rig.presses(at / 10) for at in range(1, 30)) == 1


def test_two_presses_between_two_polls_are_two() -> None:
    rig = ButtonRig()
    rig.edges(15, (0.01, CLOSED), (0.06, OPEN), (0.11, CLOSED), (0.16, OPEN))
    assert rig.presses(0.3) == 2


def test_a_spike_is_no_press() -> None:
    rig = ButtonRig()
    rig.edges(15, (0.05, CLOSED), (0.06, OPEN))
    assert sum(rig.presses(at / 10) for at in range(1, 10)) == 0


def test_a_button_held_down_at_start_has_not_been_pressed() -> None:
    rig = ButtonRig(held=True)
    assert sum(rig.presses(at / 10) for at in range(1, 10)) == 0
    rig.edges(15, (1.0, OPEN), (1.2, CLOSED))
    assert sum(rig.presses(1.0 + at / 10) for at in range(1, 10)) == 1


class ForeignClock(PinRig):
    """Edges stamped by another clock than ours, as older kernels and libraries do."""

    def __init__(self, ahead_s: float) -> None:
        super().__init__()
        self.ahead_s = ahead_s
        self.log = EdgeLog(self.pins, 6, "up", self.clock)

    def edge(self, at_s: float, level: int, delay_s: float = 0.0) -> None:
        self.clock.now_s = at_s + delay_s
        self.log._seen(at_s + self.ahead_s, level)


@pytest.mark.parametrize("ahead_s", [0.0, 1.7e9, -86400.0, 3600.0])
def test_stamps_of_another_clock_are_moved_to_ours(ahead_s: float) -> None:
    rig = ForeignClock(ahead_s)
    rig.edge(2000.0, 1, delay_s=0.0001)
    rig.edge(2000.5, 0, delay_s=0.020)
    rig.edge(2001.0, 1, delay_s=0.0)
    stamps = [edge.stamp_s for edge in rig.log.until(2100.0)]
    assert stamps == pytest.approx([2000.0, 2000.5, 2001.0], abs=0.001)


def test_no_edge_is_ever_later_than_its_arrival() -> None:
    rig = ForeignClock(0.5)
    rig.edge(2000.0, 1)
    assert next(rig.log.until(3000.0)).stamp_s == 2000.0
