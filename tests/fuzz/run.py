"""Run a harness over many cases, in processes that may come to harm.

python -m tests.fuzz.run HARNESS --cases N [--seed FIRST] [--finds FOLDER]
"""

import argparse
import faulthandler
import importlib
import os
import resource
import signal
import sys
import time
import traceback
from pathlib import Path
from types import ModuleType
from typing import Any

HARNESSES = ("luts", "pictures", "clips", "recipes", "matchfiles", "handoffs", "timelines")
SECONDS = 10
MEMORY = 1 << 30
_BATCH = 2000
_LAST_WORDS = 20000
"""How much of what a library wrote before it ended the process is kept, in characters."""


class Late(BaseException):
    """A case took over its time; no handler for errors swallows it."""


def _late(*_: Any) -> None:
    raise Late


def one(harness: ModuleType, number: int) -> str:
    """Read a case in this process; return what was found, or an empty text."""
    harness.seeds()  # Valid files are made once, outside of a case's time.
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    # Seconds of work: on a busy machine those of the clock are others'. Rest ends it too.
    old = [signal.signal(kind, _late) for kind in (signal.SIGPROF, signal.SIGALRM)]
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    signal.alarm(12 * SECONDS)
    try:
        harness.read(number)
    except Late:
        return f"took over {SECONDS} s of work, or rested"
    except Exception:
        return traceback.format_exc()
    finally:
        signal.alarm(0)
        signal.setitimer(signal.ITIMER_PROF, 0)
        for kind, handler in zip((signal.SIGPROF, signal.SIGALRM), old, strict=True):
            signal.signal(kind, handler)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    return f"took {grown >> 10} MB" if grown << 10 > MEMORY else ""


def batch(harness: ModuleType, first: int, last: int, finds: Path) -> int:
    """Read cases in a process of their own; return the case after the last that was read."""
    at, said = (finds / f"{harness.NAME}.{os.getpid()}.{end}" for end in ("at", "said"))
    child = os.fork()
    if child == 0:
        handle = os.open(at, os.O_WRONLY | os.O_CREAT)
        os.dup2(os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 2)
        faulthandler.enable()
        for number in range(first, last):
            os.pwrite(handle, b"%020d" % number, 0)
            found = one(harness, number)
            if found:
                keep(harness, number, found, finds)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0:
        return last
    number = int(at.read_bytes())
    words = said.read_text(errors="replace")[-_LAST_WORDS:]
    keep(harness, number, f"the process ended with status {status}\n{words}", finds)
    return number + 1


def keep(harness: ModuleType, number: int, found: str, finds: Path) -> None:
    """Write a find down: what happened, and the file."""
    ending, data = harness.case(number)
    (finds / f"{harness.NAME}-{number}{ending}").write_bytes(data)
    (finds / f"{harness.NAME}-{number}.txt").write_text(found)


def main() -> None:
    """Run as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("harness", choices=HARNESSES)
    parser.add_argument("--cases", type=int, default=10000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--finds", type=Path, default=Path("finds"))
    asked = parser.parse_args()
    asked.finds.mkdir(parents=True, exist_ok=True)
    harness = importlib.import_module(f"tests.fuzz.{asked.harness}")
    harness.seeds()
    began, number, end = time.monotonic(), asked.seed, asked.seed + asked.cases
    while number < end:
        number = batch(harness, number, min(number + _BATCH, end), asked.finds)
        done = number - asked.seed
        rate = done / (time.monotonic() - began)
        found = len(list(asked.finds.glob(f"{harness.NAME}-*.txt")))
        print(f"{done} cases, {rate:.0f} a second, {found} finds", flush=True)


if __name__ == "__main__":
    main()
    sys.exit(0)
