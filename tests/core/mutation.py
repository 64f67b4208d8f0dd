"""Break the core on purpose, one small thing at a time, and ask the tests whether they notice.

    python -m tests.core.mutation --minutes 20
    python -m tests.core.mutation --file limits.py --file timers.py --minutes 10

Each mutant is a copy of the core with one comparison turned, one boundary moved, one `and` made an `or`, one number
changed, one return emptied. The core's quick tests run on it in a process of their own, those nearest to the file
first; with `--nearest` only those. A mutant is killed when a test fails; one that does not even import, or crashes the
runner, is told apart, because that proves nothing about the tests. What survives is printed: a test that is missing, or
a line that is not needed.
"""

from __future__ import annotations

import argparse
import ast
import copy
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
CORE = Path("controller/core")
# What decides. What only shows (frames, margins, sentences) has tests of its own kind.
FILES = (
    "timers.py", "voting.py", "members.py", "signals.py", "limits.py", "trips.py", "derate.py", "by_hand.py",
    "top_up.py", "findings.py", "crosschecks.py", "checking.py", "drive.py", "moves.py", "orders.py", "permissives.py",
    "scan.py", "sequence.py", "step.py", "outputs.py",
)  # fmt: skip
LIMITS = ["test_limits.py", "test_blind.py", "test_voted_limits.py"]
CHECKING = ["test_checking.py", "test_given_up.py", "test_lock_out.py", "test_weld_or_noise.py"]
SEQUENCE = [
    "test_sequence.py", "test_supply.py", "test_gas.py", "test_derate.py", "test_coolant_and_air.py", "test_horn.py",
]  # fmt: skip
COMMANDS = ["test_commands.py", "test_starts.py", "test_bypass_and_hold.py", "test_resets.py"]
NEAREST = {
    "timers.py": ["test_timers.py", *LIMITS],
    "voting.py": ["test_voting.py", "test_voted_limits.py"],
    "members.py": ["test_members.py"],
    "signals.py": ["test_signals.py", *LIMITS, "test_promises.py"],
    "limits.py": [*LIMITS, "test_explorer.py"],
    "trips.py": ["test_first_out.py"],
    "derate.py": ["test_derate.py"],
    "findings.py": ["test_power_path.py", "test_time.py", "test_first_out.py", "test_supply.py", "test_sequence.py"],
    "crosschecks.py": ["test_crosschecks.py"],
    "by_hand.py": ["test_by_hand.py"],
    "top_up.py": ["test_top_up.py"],
    "checking.py": CHECKING,
    "drive.py": [*SEQUENCE, *CHECKING, "test_power_path.py"],
    "moves.py": [*SEQUENCE, *COMMANDS],
    "orders.py": COMMANDS,
    "permissives.py": COMMANDS,
    "scan.py": [*SEQUENCE, "test_power_path.py"],
    "sequence.py": ["test_tables.py"],
    "step.py": ["test_first_out.py", "test_promises.py", "test_time.py"],
    "outputs.py": ["test_tables.py"],
}
SLOW = {"test_noisy_day.py", "test_replay.py"}
AT_MOST_S = 240.0  # for the tests of one mutant
# No shrinking: that it fails is enough.
PROFILE = """
from hypothesis import Phase, settings
settings.register_profile("mutation", phases=[Phase.explicit, Phase.generate], derandomize=True, database=None)
settings.load_profile("mutation")
"""

TURNED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}


class Mutant(NamedTuple):
    file: str
    line: int
    was: str
    now: str
    source: str


def _variants(node: ast.AST) -> Iterator[ast.AST]:
    """The node, broken in each way that it can be."""
    match node:
        case ast.Compare():
            for at, operator in enumerate(node.ops):
                for turned in TURNED.get(type(operator), ()):
                    yield ast.Compare(node.left, [*node.ops[:at], turned(), *node.ops[at + 1 :]], node.comparators)
        case ast.BoolOp():
            yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        case ast.UnaryOp(op=ast.Not()):
            yield copy.deepcopy(node.operand)
        case ast.BinOp() if type(node.op) in SWAPPED:
            yield ast.BinOp(node.left, SWAPPED[type(node.op)](), node.right)
        case ast.Constant(value=bool()):
            yield ast.Constant(not node.value)
        case ast.Constant(value=int()):
            yield ast.Constant(node.value + 1)  # type: ignore[operator]
        case ast.Constant(value=float()):
            yield ast.Constant(2.0 * node.value if node.value else 1.0)  # type: ignore[operator]
        case ast.Return(value=ast.expr()) if not (isinstance(node.value, ast.Constant) and node.value.value is None):
            yield ast.Return(ast.Constant(None))


class _Skipping(ast.NodeVisitor):
    """Nodes worth breaking: not the numbers of an enumeration, defaults of a record, assertions or types."""

    def __init__(self) -> None:
        self.nodes: list[ast.AST] = []

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for part in node.body:
            if isinstance(part, ast.FunctionDef):
                self.visit(part)

    def visit_Assert(self, node: ast.Assert) -> None:
        pass

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_arguments(self, node: ast.arguments) -> None:
        for default in (*node.defaults, *node.kw_defaults):
            if default is not None:
                self.visit(default)

    def generic_visit(self, node: ast.AST) -> None:
        self.nodes.append(node)
        super().generic_visit(node)


def mutants(file: str) -> list[Mutant]:
    """Every mutant of one file of the core."""
    text = (ROOT / CORE / file).read_text()
    tree = ast.parse(text)
    worth = _Skipping()
    worth.visit(tree)
    found = []
    for node in worth.nodes:
        for variant in _variants(node):
            source = ast.unparse(_Putting(node, variant).visit(copy_with(tree, node)))
            found.append(Mutant(file, getattr(node, "lineno", 0), ast.unparse(node), ast.unparse(variant), source))
    return found


def copy_with(tree: ast.AST, kept: ast.AST) -> ast.AST:
    """A copy of a tree in which one node is the same object."""
    return copy.deepcopy(tree, {id(kept): kept})


class _Putting(ast.NodeTransformer):
    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> ast.AST:
        return self.new if node is self.old else super().visit(node)


def tests_for(file: str, nearest_only: bool) -> list[str]:
    every = sorted(p.name for p in (ROOT / "tests/core").glob("test_*.py") if p.name not in SLOW)
    nearest = NEAREST.get(file, every)
    others = () if nearest_only else [name for name in every if name not in nearest]
    return [f"tests/core/{name}" for name in (*nearest, *others)]


def judged(mutant: Mutant, folder: Path, nearest_only: bool) -> str:
    """killed, survived, stillborn (no test could run) or timed out."""
    path = folder / CORE / mutant.file
    kept = path.read_text()
    path.write_text(mutant.source)
    try:
        ran = subprocess.run(
            [
                sys.executable,
                "-m",
                "pytest",
                "-x",
                "-q",
                "-p",
                "no:cacheprovider",
                "--no-header",
                *tests_for(mutant.file, nearest_only),
            ],
            cwd=folder,
            capture_output=True,
            timeout=AT_MOST_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return "timed out"
    finally:
        path.write_text(kept)
    return {0: "survived", 1: "killed"}.get(ran.returncode, "stillborn")


def copied_to(folder: Path) -> None:
    for name in ("controller", "tests"):
        shutil.copytree(
            ROOT / name, folder / name, ignore=shutil.ignore_patterns("node_modules", "__pycache__", "*.sqlite")
        )
    shutil.copy(ROOT / "pyproject.toml", folder)
    (folder / "tests/core/conftest.py").write_text(PROFILE)


def main() -> int:
    asked = argparse.ArgumentParser(description="Break the core on purpose and count what the tests notice.")
    asked.add_argument("--minutes", type=float, default=20.0)
    asked.add_argument("--file", action="append", help="of controller/core; several may be given")
    asked.add_argument("--nearest", action="store_true", help="only the tests nearest to each file: quicker, stricter")
    asked.add_argument("--seed", type=int, default=1, help="which mutants come first")
    given = asked.parse_args()
    every = [m for file in given.file or FILES for m in mutants(file)]
    random.Random(given.seed).shuffle(every)
    end_s = time.monotonic() + 60.0 * given.minutes
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        copied_to(folder)
        for file in given.file or FILES:
            whole = Mutant(file, 0, "", "", (ROOT / CORE / file).read_text())
            if judged(whole, folder, given.nearest) != "survived":
                sys.stdout.write(f"the tests of {file} fail on the core as it is: mend that first\n")
                return 2
            if not given.nearest:
                break  # it was all of them
        for mutant in every:
            if time.monotonic() > end_s:
                break
            verdict = judged(mutant, folder, given.nearest)
            counts[verdict] += 1
            if verdict != "killed":
                sys.stdout.write(f"{verdict}: {mutant.file}:{mutant.line}  {mutant.was}  ->  {mutant.now}\n")
                sys.stdout.flush()
    done = sum(counts.values())
    told = ", ".join(f"{n} {verdict}" for verdict, n in sorted(counts.items()))
    sys.stdout.write(f"{done} of {len(every)} mutants: {told or 'none'}\n")
    return 0 if counts["survived"] == 0 and done else 1


if __name__ == "__main__":
    sys.exit(main())
