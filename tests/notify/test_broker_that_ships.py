"""Notify on a broker with the settings that ship: certificates, and only what the access list grants it."""

from __future__ import annotations

from pathlib import Path

from controller.link.broker import Address
from controller.link.messages import topic
from controller.notify.ear import Ear
from tests.broker import until
from tests.link.test_acl import Site


def test_with_its_own_certificate_it_hears_what_rigs_say(tmp_path: Path) -> None:
    site = Site(tmp_path)
    rig = site.client("rig-boathouse")
    certificate, key = site.authority.issue("notify")
    ear = Ear(Address(port=site.broker.port, authority=site.authority.path, certificate=certificate, key=key), "watch")
    heard = topic("boathouse", "state")
    try:
        until(lambda: rig.may_write(heard) and heard in [said.topic for said in ear.said])
    finally:
        ear.close()
        site.close()
    log = (site.broker.folder / "mosquitto.log").read_text()
    assert log.count(" as watch ") == 1  # a session that tries what it may not is cut, and begins again for ever
