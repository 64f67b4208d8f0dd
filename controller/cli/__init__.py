"""The `lyewatch` command: wiring of parts only. Nothing is imported before it is known what is asked for."""

from __future__ import annotations


def main() -> None:
    from controller.cli.app import run

    run()
