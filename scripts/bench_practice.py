"""The practice board: statements a second beside bwbasic, and the memory of a long trace.

Both run the same program in the same run; time is CPU time of each process, that of bwbasic less
what it takes for a program of one line. The trace is one of the command line, in a process of its
own, whose largest memory is asked from the system.
"""

from __future__ import annotations

import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bench_report import Row, Section, Target

from hostlink.practice.kind import BoardKind
from hostlink.practice.walk import Walk

RUNS = 5
TRACED = 1_000_000  # statements
MOST_MB = 200.0
# What both understand alike: whole numbers, no fraction, nothing above 16 bits.
PROGRAM = """10 LET S = 0
20 FOR J = 1 TO 30
30 FOR I = 1 TO 1000
40 LET S = S + I * 3 - J
50 IF S > 10000 THEN LET S = S - 10000
60 NEXT I
70 GOSUB 110
80 NEXT J
90 PRINT S
100 END
110 LET T = S
120 RETURN
"""
ENDLESS = "10 LET A = 0\n20 LET A = A + 1\n30 IF A = 30000 THEN LET A = 0\n40 GOTO 20\n"


def ours() -> tuple[int, float, str]:
    """Run the program on the practice board: statements, CPU seconds, output."""
    began = time.process_time()
    walk = Walk(PROGRAM, BoardKind())
    if walk.run() != "end":
        raise RuntimeError(f"the program did not end: {walk.error}")
    return walk.statements, time.process_time() - began, walk.output


def theirs(interpreter: str, text: str, folder: Path) -> tuple[float, str]:
    """Run a program on bwbasic: CPU seconds of that process, output."""
    file = folder / "program.bas"
    file.write_text(text, encoding="ascii")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    told = subprocess.run(
        [interpreter, str(file)], input="", capture_output=True, text=True, timeout=300, check=False
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return seconds, told.stdout


# Linux counts what the starting process holds as memory of the started one, so it is started by
# a process that holds little, and not by this one, which may have measured archives before.
_WATCH = """
import os, subprocess, sys
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
_, status, used = os.wait4(process.pid, 0)
print(os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, used.ru_maxrss)
"""


def traced(folder: Path, *more: str) -> tuple[float, float]:
    """Trace a program of a million statements: CPU seconds, largest memory in MB."""
    file = folder / "endless.bas"
    file.write_text(ENDLESS, encoding="ascii")
    words = [sys.executable, "-m", "hostlink", "try", str(file), "--trace"]
    words += ["--statements", str(TRACED), *more]
    told = subprocess.run(
        [sys.executable, "-c", _WATCH, *words], capture_output=True, text=True, check=True
    )
    status, seconds, kilobytes = told.stdout.split()
    if status not in ("0", "1"):  # 1: it came to no end, as it should
        raise RuntimeError(f"try --trace ended with {status}")
    return float(seconds), int(kilobytes) / 1024


def run() -> Section:
    """Run both interpreters by turns, then trace."""
    interpreter = shutil.which("bwbasic")
    if interpreter is None:
        raise RuntimeError("bwbasic is not installed")
    here: list[float] = []
    there: list[float] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for _ in range(RUNS):
            count, seconds, printed = ours()
            idle, _ = theirs(interpreter, "10 END\n", folder)
            busy, foreign = theirs(interpreter, PROGRAM, folder)
            if printed.split() != [word for word in foreign.split() if word.isdecimal()][-1:]:
                raise RuntimeError(f"bwbasic printed {foreign!r} and not {printed!r}")
            here.append(count / seconds)
            there.append(count / max(busy - idle, 0.001))
        cpu, memory = traced(folder)
        json_cpu, json_memory = traced(folder, "--json")
    own, foreign_rate = statistics.median(here), statistics.median(there)
    rows: list[Row] = [
        {"what": "practice board", "statements": count, "a_second": round(own)},
        {"what": "bwbasic", "statements": count, "a_second": round(foreign_rate)},
        {"what": "trace, text", "statements": TRACED, "a_second": round(TRACED / cpu)},
        {"what": "trace, JSON", "statements": TRACED, "a_second": round(TRACED / json_cpu)},
    ]
    targets = [
        Target.at_least("practice board to bwbasic, times", round(own / foreign_rate, 2), 1.0),
        Target.at_most("trace of 1,000,000, MB", round(max(memory, json_memory), 1), MOST_MB),
    ]
    notes = (f"CPU time, median of {RUNS} runs; 'a_second' counts statements.", "")
    return Section("practice", rows, targets, notes)
