"""What the link of the full rig sends in a day, and how much memory it takes: `python -m tests.link.air [minutes]`.

Bench, guard, link and broker as processes, the rig running; every byte between link and broker is counted in both
directions (MQTT's own included, those of TCP and IP not) and scaled to a day. Nothing of it is a constant.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from tests.broker import Onlooker, mosquitto, until
from tests.link.proxy import Network
from tests.system.site import PROGRAM, Site

DAY_MIN = 1440.0
WARM_S = 20.0  # until the first messages of a start are through


class Air(NamedTuple):
    up_mb_a_day: float
    down_mb_a_day: float
    resident_mb: float
    states: int
    topics: dict[str, float]  # MB a day of topic and payload, by the level after the rig's


def by_topic(seen: Sequence[tuple[str, bytes, bool]]) -> Counter[str]:
    """Bytes of topic and payload."""
    found: Counter[str] = Counter()
    for topic, payload, _ in seen:
        found[topic.split("/")[3]] += len(topic.encode()) + len(payload)
    return found


def measure(folder: Path, minutes: float) -> Air:
    pause = threading.Event()
    with mosquitto(folder / "broker") as broker, Site(folder / "rig") as site:
        network, onlooker = Network(broker.port), Onlooker(broker.port)
        site.start_guard()
        where = ("--bench", str(site.folder), "--broker-port", str(network.port))
        link = subprocess.Popen([sys.executable, *PROGRAM, "link", "boathouse", *where])
        try:
            site.to_power()
            until(lambda: bool(onlooker.of("/state")))
            pause.wait(WARM_S)
            begun = len(onlooker.seen)
            up, down, states = network.up_bytes, network.down_bytes, len(onlooker.of("/state"))
            pause.wait(60.0 * minutes)
            up, down = network.up_bytes - up, network.down_bytes - down
            resident = int(Path(f"/proc/{link.pid}/statm").read_text().split()[1]) * 4096
            states = len(onlooker.of("/state")) - states
            topics = by_topic(onlooker.seen[begun:])
        finally:
            link.terminate()
            link.wait(30.0)
            onlooker.close()
            network.close()
    a_day = DAY_MIN / minutes / 1e6
    return Air(up * a_day, down * a_day, resident / 1e6, states, {t: n * a_day for t, n in topics.most_common(4)})


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 3.0
    with tempfile.TemporaryDirectory() as folder:
        found = measure(Path(folder), minutes)
    shares = ", ".join(f"{topic} {mb:.0f}" for topic, mb in found.topics.items())
    print(  # noqa: T201
        f"over {minutes:g} min with {found.states} states told: {found.up_mb_a_day:.0f} MB a day to the broker,"
        f" {found.down_mb_a_day:.1f} MB a day back; the link takes {found.resident_mb:.0f} MB of memory\n"
        f"of it topic and payload, MB a day: {shares}"
    )


if __name__ == "__main__":
    main()
