"""State and description: nothing is lost on the way, and a number never meets another rig file's limit."""

from __future__ import annotations

import pytest

from controller.link import messages as m
from controller.link.described import Descriptions, WrongDescription, describe, read_description, told, whole, written
from controller.notify.ear import Said
from controller.notify.process import understood
from tests.page.scenes import SCENES

NOW_S = 1.8e9
RUNNING, TRIPPED = SCENES["running"](NOW_S), SCENES["tripped"](NOW_S)
RIG = RUNNING.rig


def sent(state: m.StateNow, described: str | None = None) -> bytes:
    return written(told(state, describe(state).id if described is None else described))


def description(state: m.StateNow) -> bytes:
    return describe(state).model_dump_json().encode()


@pytest.mark.parametrize("scene", SCENES)
def test_what_was_taken_apart_comes_together_as_it_was(scene: str) -> None:
    state, descriptions = SCENES[scene](NOW_S), Descriptions()
    descriptions.description(state.rig, description(state))
    assert descriptions.state(state.rig, sent(state)) == state


def test_the_description_holds_nothing_that_changes() -> None:
    assert {describe(SCENES[name](NOW_S + at)).id for at, name in enumerate(("running", "tripped", "sensor lost"))} == {
        describe(RUNNING).id
    }


def test_a_trip_waits_for_no_description() -> None:
    found = Descriptions().state(RIG, sent(TRIPPED))
    assert found.causes == TRIPPED.causes
    assert found.sentence == TRIPPED.sentence
    assert found.margins == []  # no limit rather than one that may be another file's
    assert [s.value for s in found.signals] == [s.value for s in TRIPPED.signals]


def test_notify_hears_a_trip_without_a_description() -> None:
    heard = understood(Said(m.topic(RIG, "state"), sent(TRIPPED), False), Descriptions())
    assert heard is not None
    assert heard.live
    assert heard.state is not None
    assert heard.state.causes == TRIPPED.causes


def test_a_description_that_comes_late_explains_the_newest_state_once() -> None:
    descriptions = Descriptions()
    descriptions.state(RIG, sent(TRIPPED))
    descriptions.state(RIG, sent(RUNNING))
    assert descriptions.description(RIG, description(RUNNING)) == RUNNING
    assert descriptions.description(RIG, description(RUNNING)) is None


def test_limits_of_another_rig_file_are_not_shown_beside_a_number() -> None:
    """The file has changed and its description has not come yet, or an old one was kept."""
    moved = [x.model_copy(update={"threshold": x.threshold + 20.0}) for x in RUNNING.margins]
    changed = RUNNING.model_copy(update={"margins": moved})
    descriptions = Descriptions()
    descriptions.description(RIG, description(RUNNING))
    assert descriptions.state(RIG, sent(changed)).margins == []
    assert descriptions.description(RIG, description(changed)) == changed


def test_a_description_with_another_content_than_its_id_is_refused() -> None:
    good = describe(RUNNING)
    forged = good.model_copy(
        update={"margins": [x.model_copy(update={"threshold": 1e3, "unit": "K"}) for x in good.margins]}
    )
    with pytest.raises(WrongDescription):
        read_description(RIG, forged.model_dump_json().encode())


def test_no_rig_speaks_in_anothers_name() -> None:
    descriptions = Descriptions()
    with pytest.raises(ValueError, match="topic says"):
        descriptions.state("another", sent(TRIPPED))
    with pytest.raises(ValueError, match="topic says"):
        descriptions.description("another", description(RUNNING))
    assert descriptions.description(RIG, description(RUNNING)) is None  # nothing of the forged state was kept


def test_what_is_not_seen_stays_not_seen() -> None:
    """Left out on the way is null and false again: never a zero, never armed."""
    blind = RUNNING.model_copy(
        update={
            "margins": [
                x.model_copy(update={"value": None, "left": None, "left_fraction": None, "armed": False})
                for x in RUNNING.margins
            ]
        }
    )
    assert b'"left"' not in sent(blind)
    assert whole(m.StateTold.model_validate_json(sent(blind)), describe(blind)) == blind
