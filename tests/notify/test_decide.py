"""Who is told what and when: a trip always and at once, the rest when people are awake, and nothing twice."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.link import messages as m
from controller.notify.decide import Heard, Memory, Rules, Send, Time, begin, decide
from tests.notify.rig import cause, off, state

NIGHT = Rules(quiet_from_min=22 * 60, quiet_to_min=7 * 60)
DAY_MIN, NIGHT_MIN = 12 * 60, 3 * 60


class Watch:
    """Feeds a rig's words in, keeps what goes out."""

    def __init__(self, rules: Rules | None = None, local_min: int = DAY_MIN) -> None:
        self.rules = rules or Rules()
        self.now_s, self.local_min = 1000.0, local_min
        self.memory: Memory = begin(self.rules, self.time)
        self.out: list[Send] = []

    @property
    def time(self) -> Time:
        return Time(self.now_s, self.local_min)

    def hear(
        self, said: m.StateNow | None = None, for_s: float = 0.0, rig: str = "boathouse", **more: object
    ) -> list[Send]:
        """The same thing said each second for some time; what went out meanwhile."""
        before = len(self.out)
        for _ in range(int(for_s) + 1):
            heard = Heard(said.rig if said else rig, state=said, **more)  # type: ignore[arg-type]
            self.memory, out = decide(self.rules, self.memory, heard, self.time)
            self.out += out
            self.now_s += 1.0
        return self.out[before:]

    def silence(self, for_s: float) -> list[Send]:
        before = len(self.out)
        for _ in range(int(for_s)):
            self.memory, out = decide(self.rules, self.memory, None, self.time)
            self.out += out
            self.now_s += 1.0
        return self.out[before:]

    @property
    def titles(self) -> list[str]:
        return [send.text.title for send in self.out]


def test_a_trip_is_told_once_in_three_lines_with_what_is_proven() -> None:
    watch = Watch()
    watch.hear(state(lye_c=62.0), for_s=40)
    sentence = "Lye too warm: 70.2 C; the limit is 70.0 C or more."
    hot = cause("over-temperature", sentence=sentence)
    assert watch.hear(state("tripped", hot, lye_c=70.2)) == []  # not yet proven off
    (sent,) = watch.hear(off("tripped", hot, lye_c=58.0), for_s=100)
    assert sent.to == "first"
    assert sent.text.title == "boathouse: tripped: Over-temperature"
    assert sent.text.body.split("\n") == [
        sentence,
        "Proven: contactor open, 0.0 A, 58 C and falling, gas to vent.",
        f"Morning: {hot.to_do} {hot.not_to_do}",
    ]


def test_a_trip_without_proof_is_told_after_three_seconds_and_says_so() -> None:
    watch = Watch()
    watch.hear(state())
    welded = cause("contactor not open", "lock-out")
    (sent,) = watch.hear(state("locked out", welded, amps=None, lye_c=None, collect=True), for_s=10)
    assert "LOCKED OUT" in sent.text.title
    lines = sent.text.body.split("\n")
    assert lines[1] == "Proven: CONTACTOR CLOSED, current not known, temperature not known, GAS IS COLLECTED."
    assert lines[2].startswith("NOW: ")
    assert "Only at the rig" in lines[2]


def test_a_trip_that_becomes_a_lock_out_is_told_again() -> None:
    watch = Watch()
    watch.hear(off("tripped", cause("leak")), for_s=5)
    watch.hear(off("locked out", cause("leak"), cause("third trip", "lock-out")), for_s=5)
    assert watch.titles == ["boathouse: tripped: Leak", "boathouse: LOCKED OUT: Third trip"]


def test_quiet_hours_never_silence_a_trip_but_hold_what_can_wait() -> None:
    watch = Watch(NIGHT, NIGHT_MIN)
    watch.hear(state())
    watch.hear(off("cooling"), for_s=5)  # a run has finished
    watch.hear(off("tripped", cause("frost warn")), for_s=5)
    assert watch.titles == ["boathouse: tripped: Frost warn"]
    watch.local_min = 7 * 60
    watch.hear(off("tripped", cause("frost warn")))
    assert watch.titles[1:] == ["boathouse: run finished"]


def test_what_waited_through_the_night_comes_as_one_message() -> None:
    watch = Watch(NIGHT, NIGHT_MIN)
    for fit in (False, True):
        watch.hear(state(fit=fit, hours=2.0))
    watch.hear(off(), for_s=5)
    assert watch.out == []
    watch.local_min = DAY_MIN
    (sent,) = watch.hear(off())
    assert sent.text.title == "3 things happened"
    assert sent.text.body.split("\n") == [
        "boathouse: top-up due", "boathouse: gas is fit to use", "boathouse: run finished",
    ]  # fmt: skip


def test_three_minutes_of_silence_with_power_on_wakes_somebody() -> None:
    watch = Watch(NIGHT, NIGHT_MIN)
    watch.hear(state())
    assert watch.silence(178) == []
    (sent,) = watch.silence(10)
    assert sent.text.title == "boathouse: silent"
    assert sent.text.urgency == "now"
    assert "When last heard it was running: It is running." in sent.text.body
    (sent,) = watch.hear(off())
    assert sent.text.title == "boathouse: back"


def test_silence_of_a_rig_that_was_off_waits_for_the_morning() -> None:
    watch = Watch(NIGHT, NIGHT_MIN)
    watch.hear(off())
    assert watch.silence(1000) == []
    watch.local_min = DAY_MIN
    (sent,) = watch.silence(2)
    assert sent.text.urgency == "morning"


def test_a_last_will_is_told_sooner_and_a_quick_restart_is_not() -> None:
    watch = Watch()
    watch.hear(state())
    watch.hear(presence="gone")
    (sent,) = watch.silence(15)
    assert "its link died" in sent.text.body
    watch = Watch()
    watch.hear(state())
    watch.hear(presence="gone")
    watch.silence(5)
    watch.hear(presence="here")
    assert watch.hear(state(), for_s=300) == []


def test_silence_wakes_unless_power_was_proven_off() -> None:
    """A rig without an auxiliary contact proves it by its current; one in its self-test is about to have power."""
    for last, wakes in (
        (state(), True),
        (off("checking"), True),
        (off(main_open=None, zero=None), True),
        (off(main_open=None, zero=True), False),
        (off(), False),
    ):
        watch = Watch(NIGHT, NIGHT_MIN)
        watch.hear(last, for_s=10)
        assert bool(watch.silence(400)) is wakes, last


def test_a_rig_that_falls_silent_again_and_stays_so_wakes_somebody_ten_minutes_after_the_first_time() -> None:
    watch = Watch(NIGHT, NIGHT_MIN)
    watch.hear(state(), for_s=10)
    watch.silence(181)
    watch.hear(state(), for_s=2)
    assert watch.titles == ["boathouse: silent", "boathouse: back"]
    assert watch.silence(500) == []
    (sent,) = watch.silence(200)
    assert sent.text.title == "boathouse: silent"
    assert sent.text.body.startswith("Silent for 10 min")
    assert [(s.to, s.text.title) for s in watch.silence(900)] == [
        ("second", "Nobody has answered for 15 min: boathouse: silent")
    ]


def test_a_network_that_comes_and_goes_is_told_at_most_each_ten_minutes_and_ends_with_how_it_is() -> None:
    watch = Watch(NIGHT, NIGHT_MIN)
    watch.hear(state(), for_s=10)
    for _ in range(8):
        watch.silence(185)
        watch.hear(state(), for_s=5)
    assert len(watch.out) <= 2 * (8 * 190 // 600 + 1)
    watch.hear(state(), for_s=700)
    assert watch.titles[-1] == "boathouse: back"


def test_a_link_that_was_stopped_in_order_is_said_to_be_so() -> None:
    watch = Watch()
    watch.hear(off())
    watch.hear(presence="ended")
    assert watch.silence(170) == []
    (sent,) = watch.silence(20)
    assert sent.text.title == "boathouse: no longer watched"
    assert watch.silence(5000) == []


def test_a_rig_that_is_named_is_missed_though_it_was_never_heard() -> None:
    watch = Watch(Rules(rigs=("shed",)))
    (sent,) = watch.silence(200)
    assert sent.text.title == "shed: silent"
    assert "It has not been heard since this watch began." in sent.text.body


def test_a_retained_state_is_not_taken_for_life() -> None:
    watch = Watch()
    watch.hear(off("tripped", cause("leak")), live=False)
    (sent,) = watch.silence(200)
    assert sent.text.title == "boathouse: silent"


def test_a_sensor_is_told_once_it_has_been_lost_for_half_a_minute_and_when_it_is_back() -> None:
    watch = Watch()
    watch.hear(off())
    lost = off(lye_c=None, lye_plain="sensor lost: no answer, for 29 s")
    watch.hear(lost, for_s=20)
    watch.hear(off(), for_s=20)
    assert watch.out == []
    watch.hear(lost, for_s=40)
    assert watch.titles == ["boathouse: sensor lost: Lye temperature"]
    assert "sensor lost: no answer" in watch.out[0].text.body
    watch.hear(off())
    assert watch.titles[1:] == ["boathouse: sensor back: Lye temperature"]


def test_a_lost_sensor_that_the_trip_has_told_of_is_not_told_twice() -> None:
    watch = Watch()
    blind = cause("over-temperature", sentence="It cannot be ruled out, lye temperature is not seen (no answer).")
    watch.hear(off("tripped", blind, lye_c=None, lye_plain="sensor lost"), for_s=60)
    assert watch.titles == ["boathouse: tripped: Over-temperature"]


def test_the_same_again_within_ten_minutes_is_counted_and_told_once() -> None:
    watch = Watch()
    watch.hear(off())
    lost = off(lye_c=None, lye_plain="sensor lost")
    for _ in range(4):  # comes and goes
        watch.hear(lost, for_s=40)
        watch.hear(off(), for_s=40)
    assert watch.titles == ["boathouse: sensor lost: Lye temperature", "boathouse: sensor back: Lye temperature"]
    watch.hear(off(), for_s=700)
    digest = watch.out[2:]
    assert len(digest) <= 2
    told = "\n".join(send.text.title + "\n" + send.text.body for send in digest)
    assert "sensor lost: Lye temperature (3 times)" in told


def test_more_than_eight_messages_an_hour_are_gathered() -> None:
    watch = Watch()
    for nth in range(12):  # each of twelve rigs' worth of sensors fails once in an hour
        said = off()
        lost = said.signals[1].model_copy(
            update={"name": f"s{nth}", "title": f"S{nth}", "value": None, "status": "failure"}
        )
        watch.hear(said.model_copy(update={"signals": [said.signals[0], lost]}), for_s=31)
        watch.hear(said, for_s=30)
    alone = [title for title in watch.titles if title.startswith("boathouse")]
    assert len(alone) == 8
    watch.hear(off(), for_s=3600)
    told = "\n".join(send.text.title + "\n" + send.text.body for send in watch.out)
    assert all(f"sensor lost: S{nth}" in told for nth in range(12))  # none is swallowed


def test_now_without_an_answer_goes_to_a_second_person_after_a_quarter_of_an_hour() -> None:
    watch = Watch()
    leak = off("tripped", cause("leak"))
    watch.hear(leak, for_s=890)
    assert [send.to for send in watch.out] == ["first"]
    watch.hear(leak, for_s=20)
    assert [send.to for send in watch.out] == ["first", "second"]
    assert watch.titles[1] == "Nobody has answered for 15 min: boathouse: tripped: Leak"
    assert watch.hear(leak, for_s=5000) == []


def test_an_answer_or_a_reset_keeps_the_second_person_asleep() -> None:
    for answered in (True, False):
        watch = Watch()
        watch.hear(off("tripped", cause("leak")), for_s=60)
        if answered:
            watch.hear(answered=True)
            watch.hear(off("tripped", cause("leak")), for_s=2000)
        else:
            watch.hear(off("cooling"), for_s=2000)
        assert [send.to for send in watch.out] == ["first"]


def test_what_can_wait_never_goes_to_a_second_person() -> None:
    watch = Watch()
    assert cause("over-temperature").urgency == "morning"
    watch.hear(off("tripped", cause("over-temperature")), for_s=3000)
    assert [send.to for send in watch.out] == ["first"]


def test_top_up_is_told_once_until_it_was_done() -> None:
    watch = Watch()
    watch.hear(state(hours=3.5), for_s=5)
    watch.hear(state(hours=2.9), for_s=5)
    watch.hear(state(hours=3.1), for_s=5)
    watch.hear(state(hours=2.8), for_s=5)
    assert watch.titles == ["boathouse: top-up due"]
    watch.hear(state(hours=40.0), for_s=700)
    watch.hear(state(hours=2.0), for_s=5)
    assert watch.titles == ["boathouse: top-up due"] * 2


def test_messages_that_are_not_understood_are_said_once() -> None:
    watch = Watch()
    watch.hear(garbled="state: cells: extra", for_s=100)
    assert watch.titles == ["boathouse: cannot be read"]


def test_a_simulated_rig_says_so_first() -> None:
    watch = Watch()
    watch.hear(off("tripped", cause("leak"), simulated=True), for_s=5)
    assert watch.titles == ["SIMULATED, boathouse: tripped: Leak"]


def test_two_rigs_do_not_answer_for_each_other() -> None:
    watch = Watch()
    for _ in range(1000):
        watch.hear(off("tripped", cause("leak"), rig="a"))
        watch.hear(off(rig="b"))
    assert [send.to for send in watch.out] == ["first", "second"]


SAID = st.sampled_from(
    [
        state(), state(fit=True), off(), off("cooling"), off(lye_c=None), state(hours=1.0),
        off("tripped", cause("leak")), off("tripped", cause("over-temperature")),
        state("locked out", cause("short", "lock-out")), None,
    ]
)  # fmt: skip


@given(st.lists(st.tuples(SAID, st.integers(1, 400)), max_size=25), st.booleans())
def test_whatever_happens_every_trip_that_lasts_is_told_within_four_seconds(
    said: list[tuple[m.StateNow | None, int]], night: bool
) -> None:
    watch = Watch(NIGHT, NIGHT_MIN if night else DAY_MIN)
    standing = last = ""
    lasted_s = since = 0  # how long this trip has been heard, and what had been sent before it
    for what, for_s in said:
        before = len(watch.out)
        watch.silence(for_s) if what is None else watch.hear(what, for_s=min(for_s, 60))
        if what is None:
            continue
        first = what.causes[0].name if what.causes else ""
        if first != last:
            lasted_s, since = 0, before
        last, lasted_s = first, lasted_s + min(for_s, 60)
        if first and first != standing and lasted_s >= 4:
            assert any(what.causes[0].title in send.text.title for send in watch.out[since:])
        standing = first if lasted_s >= 4 or not first else standing
