"""Feed every reader with damaged, spliced and made-up input, so many times, and report.

    .venv/bin/python tests/field/fuzz.py --seed 1 --inputs 1000000 --out fuzz.json

Input number n of a seed is always the same, whatever the machine and the number of processes: each
block of ``BLOCK`` inputs has a generator of its own. A finding is an exception that is no refusal,
a broken rule of ``fuzz_targets``, or an answer that takes longer than ``HANG_S``; it is kept with
its input, in hexadecimal, in the report. Exit code 1 when there is any.
"""

from __future__ import annotations

import argparse
import json
import logging
import multiprocessing
import platform
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.field.fuzz_targets import Target, targets
from tests.field.kill_campaign import commit_here

BLOCK = 20_000
"""Inputs with one generator: the piece of work of a process."""
HANG_S = 10.0
FINDINGS_KEPT = 20
LONGEST_BYTES = 4096
"""Longest input, but for what a word makes longer."""
_NUMBERS = (b"0", b"-1", b"1e308", b"1e-400", b"2147483648", b"9" * 25, b"-0.0", b".", b"e")


class Hang(Exception):
    """An input took too long."""


@dataclass
class Finding:
    target: str
    input_hex: str
    what: str


@dataclass
class Tally:
    """Of one target: how its inputs ended, and the slowest of them [ms]."""

    taken: int = 0
    refused: int = 0
    slowest_ms: float = 0.0
    slowest_hex: str = ""


@dataclass
class Report:
    commit: str
    begun: str
    seed: int
    inputs: int
    processes: int
    python: str
    seconds: float
    processor_s: float
    memory_first_mb: float
    """Most memory of any process after its first block of inputs."""
    memory_last_mb: float
    """Most memory of any process at the end."""
    tallies: dict[str, Tally] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)


class Mutator:
    """Makes inputs out of seeds and words."""

    def __init__(self, chance: random.Random) -> None:
        self._chance = chance

    def make(self, target: Target) -> bytes:
        """A seed, changed in one to eight ways; now and then nothing but noise."""
        chance = self._chance
        if chance.random() < 0.02:
            return chance.randbytes(chance.randrange(64))
        data = bytearray(chance.choice(target.seeds))
        for _ in range(1 + int(chance.random() ** 2 * 8)):
            self._change(data, target)
        return bytes(data[:LONGEST_BYTES])

    def _change(self, data: bytearray, target: Target) -> None:
        chance = self._chance
        at = int(chance.random() * (len(data) + 1))
        length = int(chance.random() ** 3 * 24)
        match int(chance.random() * 9):
            case 0:
                if at < len(data):
                    data[at] ^= 1 << int(chance.random() * 8)
            case 1:
                if at < len(data):
                    data[at] = int(chance.random() * 256)
            case 2:
                del data[at : at + length]
            case 3:
                data[at:at] = data[at : at + length]
            case 4 | 5:
                if target.words:
                    data[at : at + length * (chance.random() < 0.5)] = chance.choice(target.words)
            case 6:
                other = chance.choice(target.seeds)
                data[at:] = other[int(chance.random() * len(other)) :]
            case 7:
                self._another_number(data, at)
            case _:
                del data[at:]

    def _another_number(self, data: bytearray, at: int) -> None:
        """Put another number in place of the next one."""
        while at < len(data) and not 48 <= data[at] <= 57:
            at += 1
        end = at
        while end < len(data) and (48 <= data[end] <= 57 or data[end] in b".eE+-"):
            end += 1
        chance = self._chance
        made = b"%.17g" % (chance.uniform(-1, 1) * 10.0 ** chance.randrange(-12, 20))
        data[at:end] = chance.choice(_NUMBERS) if chance.random() < 0.5 else made


@dataclass
class Block:
    """What came of one block."""

    tallies: dict[str, Tally]
    findings: list[Finding]
    memory_mb: float
    processor_s: float


def run_block(seed: int, number: int, inputs: int) -> Block:
    """One block of inputs; the same for the same seed and number."""
    chance = random.Random(f"{seed}/{number}")
    maker = Mutator(chance)
    begun_s = time.process_time()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        every = targets(Path(name))
        tallies = {each: Tally() for each in every}
        findings: list[Finding] = []
        shares = [each.share for each in every.values()]
        for chosen in chance.choices(list(every), shares, k=inputs):
            data = maker.make(every[chosen])
            what = feed(every[chosen], data, tallies[chosen])
            if what is not None:
                findings.append(Finding(chosen, data.hex(), what))
    return Block(tallies, findings, _memory_mb(), time.process_time() - begun_s)


def feed(target: Target, data: bytes, tally: Tally) -> str | None:
    """One input; what was found, if anything."""
    begun_s = time.perf_counter()
    try:
        with alarm(HANG_S):
            if target.feed(data) == "taken":
                tally.taken += 1
            else:
                tally.refused += 1
    except Exception:  # noqa: BLE001 - whatever it is, it is what we are here for
        return traceback.format_exc(limit=-6)
    took_ms = (time.perf_counter() - begun_s) * 1000
    if took_ms > tally.slowest_ms:
        tally.slowest_ms, tally.slowest_hex = round(took_ms, 3), data.hex()
    return None


@contextmanager
def alarm(after_s: float) -> Iterator[None]:
    """Raise ``Hang`` inside when it takes longer."""
    signal.setitimer(signal.ITIMER_REAL, after_s)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


def _hang(_number: int, _frame: object) -> None:
    raise Hang(f"no answer after {HANG_S:g} s")


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def begin_worker() -> None:
    """In each process before its first block."""
    signal.signal(signal.SIGALRM, _hang)
    logging.disable(logging.CRITICAL)  # a reader that tells of damage would tell it a million times


def run(seed: int, inputs: int, processes: int = 1, out: Path | None = None) -> Report:
    """Feed so many; the report, which is written to ``out`` after every block."""
    begun, begun_s = datetime.now(UTC), time.monotonic()
    sizes = [min(BLOCK, inputs - at) for at in range(0, inputs, BLOCK)]
    work = [(seed, number, size) for number, size in enumerate(sizes)]
    report = Report(
        commit=commit_here(),
        begun=begun.isoformat(timespec="seconds"),
        seed=seed,
        inputs=0,
        processes=processes,
        python=platform.python_version(),
        seconds=0.0,
        processor_s=0.0,
        memory_first_mb=0.0,
        memory_last_mb=0.0,
    )
    with multiprocessing.Pool(processes, begin_worker) as pool:
        for number, block in enumerate(pool.imap_unordered(_work, work)):
            add(report, block)
            if number < processes:
                report.memory_first_mb = max(report.memory_first_mb, round(block.memory_mb, 1))
            report.seconds = round(time.monotonic() - begun_s, 1)
            if out is not None:
                write(report, out)
    return report


def _work(item: tuple[int, int, int]) -> Block:
    return run_block(*item)


def write(report: Report, out: Path) -> str:
    """Write the report as far as it has come; its text."""
    body = asdict(report)
    body["findings_total"] = len(report.findings)
    body["findings"] = body["findings"][:FINDINGS_KEPT]
    text = json.dumps(body, indent=2) + "\n"
    out.write_text(text, encoding="utf-8")
    return text


def add(report: Report, block: Block) -> None:
    """Put a block's counts to the report's."""
    for name, more in block.tallies.items():
        tally = report.tallies.setdefault(name, Tally())
        tally.taken += more.taken
        tally.refused += more.refused
        if more.slowest_ms > tally.slowest_ms:
            tally.slowest_ms, tally.slowest_hex = more.slowest_ms, more.slowest_hex
        report.inputs += more.taken + more.refused
    report.inputs += len(block.findings)
    report.findings += block.findings
    report.processor_s = round(report.processor_s + block.processor_s, 1)
    report.memory_last_mb = max(report.memory_last_mb, round(block.memory_mb, 1))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True, help="JSON file for the report")
    given = parser.parse_args()
    report = run(given.seed, given.inputs, given.processes, given.out)
    sys.stdout.write(write(report, given.out))
    return 1 if report.findings else 0


if __name__ == "__main__":
    sys.exit(main())
