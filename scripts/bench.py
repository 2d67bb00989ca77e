"""Times Flattop against what a user would otherwise run; called by scripts/bench.

Machines change their speed from minute to minute, so the methods take turns within each round and ratios are formed
within the round; what is printed are medians over the rounds.
"""

import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy

LINES = 10_000_000
SAMPLES = 100_000_000

MEAN_IN_A_FRESH_PROCESS = """
import sys, time, numpy
before = time.perf_counter()
numpy.load(sys.argv[1]).mean()
print(time.perf_counter() - before)
"""


def build(folder, name, *arguments):
    """Builds one program and copies it to `folder/name`, so that a build going on elsewhere cannot change it."""
    command = ["cargo", *arguments, "--locked", "--quiet", "--message-format=json"]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    built = [json.loads(line).get("executable") for line in done.stdout.splitlines()]
    [program] = [path for path in built if path]
    return Path(shutil.copy(program, folder / name))


def assess(flattop, arguments, points):
    """Seconds from starting the process to having its verdict."""
    command = [flattop, "assess", "--json", *arguments]
    before = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True)
    seconds = time.perf_counter() - before
    # 0 within and 3 outside tolerance: anything else is no verdict, and its time means nothing.
    if done.returncode not in (0, 3):
        sys.exit(f"{arguments}: status {done.returncode}\n{done.stdout}{done.stderr}")
    assert json.loads(done.stdout)["record"]["points"] == points
    return seconds


def reader_bench(program, folder, keep):
    """One run of the readers' own bench, with the record it makes kept as `keep`: seconds by method."""
    seconds = {}
    command = [program, str(LINES)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=os.environ | {"TMPDIR": str(folder)}) as bench:
        for line in bench.stdout:
            # The first line is printed once the record is complete; the same bytes each time.
            if " lines, " in line and not keep.exists():
                [record] = folder.glob("*/capture.csv")
                os.link(record, keep)
            found = re.match(r"(.+?) +([0-9.]+) s ", line)
            if found:
                seconds[found[1]] = float(found[2])
    if bench.returncode != 0:
        sys.exit("the bench of the readers failed")
    return seconds


def fresh_mean(record):
    """Seconds for numpy.load and mean in a process of its own, imports not counted."""
    command = [sys.executable, "-c", MEAN_IN_A_FRESH_PROCESS, str(record)]
    return float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def square_wave(path):
    """100 million samples 10 ns apart of a noisy 1 kHz square wave, e = -8 %, as float32."""
    half_period = 50_000
    since_edge = numpy.arange(half_period) * 10e-9
    tail = 0.08 * numpy.exp(-since_edge / 60e-6)
    period = numpy.concatenate([1.0 - tail, tail]).astype(numpy.float32)
    generator = numpy.random.default_rng(1)
    whole = numpy.lib.format.open_memmap(path, mode="w+", dtype=numpy.float32, shape=(SAMPLES,))
    for block in whole.reshape(-1, 100 * period.size):
        block[:] = numpy.tile(period, 100)
        block += generator.standard_normal(block.size, dtype=numpy.float32) * numpy.float32(0.01)
    whole.flush()
    # Writing back to the disk must not go on while the clock runs.
    os.sync()


def show(what, seconds):
    print(f"  {what:58} {statistics.median(seconds):9.4f} s   ({min(seconds):.4f} to {max(seconds):.4f})")


def ratio(what, upper, lower, target=None):
    ratios = [a / b for a, b in zip(upper, lower, strict=True)]
    middle = statistics.median(ratios)
    verdict = "" if target is None else f"   target at most {target}: {'met' if middle <= target else 'MISSED'}"
    print(f"  {what:58} {middle:9.3f}     ({min(ratios):.3f} to {max(ratios):.3f}){verdict}")


def text(flattop, reader, folder, rounds):
    print(f"\nText: {LINES:,} lines of time and voltage, warm cache, {rounds} rounds", flush=True)
    record = folder / "record.csv"
    whole, csv, count, opened, digest = [], [], [], [], []
    for _ in range(rounds):
        seconds = reader_bench(reader, folder, record)
        csv.append(seconds["csv + fast-float2, fresh map"])
        count.append(seconds["newline count, resident"])
        opened.append(seconds["open"])
        digest.append(seconds["open and digest"])
        whole.append(statistics.median(assess(flattop, [str(record)], LINES) for _ in range(5)))
    show("whole process: flattop assess FILE --json", whole)
    show("reader alone: flattop_captures::open", opened)
    show("reader and digest of the file", digest)
    show("csv + fast-float2, same file, inside a process", csv)
    show("newline count, memory already mapped", count)
    ratio("whole process / (csv + fast-float2)", whole, csv, 0.5)
    ratio("whole process / newline count", whole, count, 6)
    ratio("reader alone / (csv + fast-float2)", opened, csv)
    ratio("reader alone / newline count", opened, count)
    record.unlink()


def array(flattop, folder, rounds):
    print(f"\nNPY: {SAMPLES:,} samples of float32, warm cache, {rounds} rounds", flush=True)
    record = folder / "record.npy"
    square_wave(record)
    whole, fresh, warm = [], [], []
    for _ in range(rounds):
        # Single runs scatter by a factor of several; three of each in turns, and their median, make a round.
        single = [(assess(flattop, [str(record), "--interval", "10ns"], SAMPLES), fresh_mean(record)) for _ in range(3)]
        whole.append(statistics.median(pair[0] for pair in single))
        fresh.append(statistics.median(pair[1] for pair in single))
        samples = numpy.load(record)
        samples.mean()
        before = time.perf_counter()
        samples.mean()
        warm.append(time.perf_counter() - before)
        del samples
    show("whole process: flattop assess FILE --interval 10ns --json", whole)
    show("numpy.load(FILE).mean(), fresh process, without imports", fresh)
    show("mean() again, array already in memory", warm)
    ratio("whole process / load and mean in a fresh process", whole, fresh, 2)
    ratio("whole process / mean of an array already in memory", whole, warm)
    record.unlink()


FIRST_ORDER_INVERSE = """
import sys, time, numpy
from scipy.signal import cont2discrete, lfilter
before = time.perf_counter()
samples = numpy.load(sys.argv[1])
loaded = time.perf_counter()
# The shelf for a first-order hold turned round, as in reference/correct_shelf.py.
b, a, _ = cont2discrete(([0.92 * 60e-6, 1.0], [60e-6, 1.0]), 10e-9, method="foh")
result = lfilter(a, numpy.ravel(b), samples)
filtered = time.perf_counter()
numpy.save(sys.argv[2], result.astype(numpy.float32))
print(filtered - loaded, time.perf_counter() - before)
"""


def corrected(flattop, folder, rounds):
    print(f"\nCorrection: {SAMPLES:,} samples of float32, warm cache, {rounds} rounds", flush=True)
    record, result, beside = folder / "record.npy", folder / "corrected.npy", folder / "beside.npy"
    square_wave(record)
    ours, lfilter, scipy, copied, copied_result = [], [], [], [], []
    for _ in range(rounds):
        command = [flattop, "correct", record, "-o", result, "--interval", "10ns", "--error=-8%", "--time-constant", "60us"]
        before = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True)
        ours.append(time.perf_counter() - before)
        if done.returncode != 0:
            sys.exit(f"correct: status {done.returncode}\n{done.stderr}")
        command = [sys.executable, "-c", FIRST_ORDER_INVERSE, record, beside]
        seconds = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
        lfilter.append(float(seconds[0]))
        scipy.append(float(seconds[1]))
        for source, times in [(record, copied), (result, copied_result)]:
            before = time.perf_counter()
            subprocess.run(["cp", source, folder / "copy.npy"], check=True)
            times.append(time.perf_counter() - before)
        # Both have to have done the same: the start apart, which is not known of a record that begins anywhere.
        pair = [numpy.load(path, mmap_mode="r")[1_000_000:1_100_000] for path in (result, beside)]
        apart = numpy.abs(pair[0].reshape(100_000, -1)[:, -2] - pair[1]).max()
        if not apart < 1e-5:
            sys.exit(f"correct: {apart} from lfilter")
        for path in (result, beside, folder / "copy.npy"):
            path.unlink()
    show("whole process: flattop correct, with uncertainties", ours)
    show("SciPy: load, lfilter, save as float32, without imports", scipy)
    show("lfilter alone", lfilter)
    show("cp of the record (0.4 GB)", copied)
    show("cp of the result (1.2 GB)", copied_result)
    ratio("whole process / SciPy load, lfilter and save", ours, scipy)
    ratio("whole process / lfilter alone", ours, lfilter, 0.333)
    ratio("whole process / cp of the record", ours, copied, 2)
    ratio("whole process / cp of the result", ours, copied_result)
    record.unlink()


def main():
    rounds = int(sys.argv[1])
    with tempfile.TemporaryDirectory(prefix="flattop-bench-") as folder:
        folder = Path(folder)
        flattop = build(folder, "flattop", "build", "--release", "-p", "flattop")
        reader = build(folder, "read", "bench", "--no-run", "-p", "flattop-captures", "--bench", "read")
        verdict = build(folder, "verdict", "bench", "--no-run", "-p", "flattop-core", "--bench", "assess")
        budget = build(folder, "budget", "bench", "--no-run", "-p", "flattop-core", "--bench", "budget")
        print(f"{os.cpu_count()} processors, load before the start {os.getloadavg()[0]:.2f}")
        text(flattop, reader, folder, rounds)
        array(flattop, folder, rounds)
        corrected(flattop, folder, rounds)
        print("\nUncertainty of a reading: a million trials at 50 frequencies", flush=True)
        subprocess.run([budget], check=True)
        print("\nIn memory: from samples to verdict (target for 2,500 points: below 1 ms)", flush=True)
        subprocess.run([verdict], check=True)


main()
