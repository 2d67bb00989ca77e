"""How fast and how steadily `flattop trim` follows an instrument, measured from outside on the practice bench.

Between the two stands a relay that notes when the last byte of a capture went by. Not part of scripts/test.
Usage: scripts/live.py PROGRAM [--captures 1500] [--rate 60] [--minutes 10] [--only quick,steady,faults]
Standard library only; Linux, for the memory.
"""

import argparse
import json
import os
import pty
import re
import select
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

BIG = 10_000  # bytes; an answer of at least so many is a capture


class Practice:
    """A practice bench in a process of its own."""

    def __init__(self, program, *args):
        command = [program, "practise", "--json", "--listen", "127.0.0.1:0", *args]
        self.child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        opened = json.loads(self.child.stdout.readline())
        self.port = int(opened["address"].rsplit(":", 1)[1])
        # Otherwise the pipe fills.
        threading.Thread(target=self.child.stdout.read, daemon=True).start()

    def turn(self, degrees):
        self.child.stdin.write(f"turn {degrees}\n")
        self.child.stdin.flush()

    def end(self):
        self.child.stdin.write("end\n")
        self.child.stdin.close()
        self.child.wait(10)


class Relay:
    """Passes bytes on and notes when the last ones of each large answer went by."""

    def __init__(self, port):
        self.to = port
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        self.complete_s = []
        threading.Thread(target=self.run, daemon=True).start()

    def run(self):
        while True:
            near, _ = self.listener.accept()
            threading.Thread(target=self.carry, args=(near,), daemon=True).start()

    def carry(self, near):
        far = socket.create_connection(("127.0.0.1", self.to))
        for one in (near, far):
            one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        size, last = 0, 0.0
        while True:
            for one in select.select([near, far], [], [])[0]:
                data = one.recv(1 << 20)
                if not data:
                    near.close()
                    far.close()
                    return
                if one is near:
                    # The next question shows that the answer before it was complete.
                    if size >= BIG:
                        self.complete_s.append(last)
                    size = 0
                    far.sendall(data)
                else:
                    size += len(data)
                    near.sendall(data)
                    last = time.monotonic()


def memory_kb(pid):
    return int(re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())[1])


def quantile(values, share):
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def times(name, delays_s, goal_ms):
    p50, p99, most = (1e3 * q for q in (quantile(delays_s, 0.5), quantile(delays_s, 0.99), max(delays_s)))
    print(f"{name}: {len(delays_s)} captures, median {p50:.1f} ms, p99 {p99:.1f} ms, most {most:.1f} ms (goal p99 {goal_ms} ms)")
    return p99 <= goal_ms


def quick(program, captures):
    """A capture of 10 000 points complete on the wire, until its panel stands on the terminal."""
    practice = Practice(program, "--rate", "20", "--seed", "5", "--start=-6%")
    relay = Relay(practice.port)
    pid, screen = pty.fork()
    if pid == 0:
        os.environ.update(TERM="xterm", COLUMNS="80", LINES="24")
        os.execv(program, [program, "trim", "--connect", f"tcp://127.0.0.1:{relay.port}", "--hold", "0", "--captures", str(captures)])
    shown_s, text = [], b""
    while True:
        try:
            data = os.read(screen, 1 << 16)
        except OSError:
            break
        if not data:
            break
        text += data
        # What comes within a few milliseconds is one painting; it ends where nothing follows.
        while select.select([screen], [], [], 0.004)[0]:
            try:
                more = os.read(screen, 1 << 16)
            except OSError:
                break
            text += more
            at = time.monotonic()
        else:
            at = time.monotonic() - 0.004
        shown_s.append(at)
    os.waitpid(pid, 0)
    practice.end()
    delays = []
    for done in relay.complete_s:
        after = [at for at in shown_s if at >= done]
        if after and after[0] - done < 0.045:
            delays.append(after[0] - done)
    missing = len(relay.complete_s) - len(delays)
    met = times("wire to panel", delays, 20)
    print(f"  of {len(relay.complete_s)} captures {missing} without a painting of their own within 45 ms")
    return met and missing <= 0.01 * captures


def steady(program, rate, seconds):
    """How many captures a second, wire to line of JSON, and the memory over it."""
    practice = Practice(program, "--rate", str(rate), "--seed", "6", "--start=-6%")
    relay = Relay(practice.port)
    command = [program, "trim", "--connect", f"tcp://127.0.0.1:{relay.port}", "--json", "--hold", "0", "--for", f"{seconds}s"]
    trim = subprocess.Popen(command, stdout=subprocess.PIPE)
    lines, memory = [], []
    started = time.monotonic()
    for line in trim.stdout:
        at = time.monotonic()
        lines.append((at, json.loads(line)))
        if not memory or at - memory[-1][0] > seconds / 40:
            memory.append((at, memory_kb(trim.pid), memory_kb(practice.child.pid)))
        if len(lines) % 200 == 100:
            practice.turn(-20 if len(lines) % 400 == 100 else 20)
    trim.wait(30)
    practice.end()
    lasted = lines[-1][0] - lines[0][0]
    print(f"steady: {len(lines)} captures in {lasted:.1f} s: {(len(lines) - 1) / lasted:.1f} a second (goal 50), first after {lines[0][0] - started:.2f} s")
    delays = [at - done for (at, _), done in zip(lines, relay.complete_s)]
    met = times("wire to line of JSON", delays, 20)
    return met & grows("trim", memory, 1) & grows("practise", memory, 2) & ((len(lines) - 1) / lasted >= 50)


def grows(name, memory, which):
    """Whether the last fifth holds more than the second one."""
    fifth = max(1, len(memory) // 5)
    early = max(row[which] for row in memory[fifth : 2 * fifth])
    late = max(row[which] for row in memory[-fifth:])
    print(f"  memory of {name}: {early} kB early, {late} kB late")
    return late <= early + 2048


def faults(program, seconds):
    """An instrument that misbehaves: does every recovery succeed, does memory stay."""
    practice = Practice(program, "--rate", "200", "--seed", "7", "--start=-5%", "--faults", "2", "--one-in", "25")
    command = [program, "trim", "--connect", f"tcp://127.0.0.1:{practice.port}", "--json", "--hold", "0", "--for", f"{seconds}s"]
    trim = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    troubles = []
    reader = threading.Thread(target=lambda: troubles.extend(trim.stderr), daemon=True)
    reader.start()
    lines, memory, gaps = [], [], []
    for line in trim.stdout:
        at = time.monotonic()
        if lines:
            gaps.append(at - lines[-1][0])
        lines.append((at, json.loads(line)))
        if not memory or at - memory[-1][0] > seconds / 40:
            memory.append((at, memory_kb(trim.pid), memory_kb(practice.child.pid)))
    trim.wait(60)
    reader.join(5)
    practice.end()
    used = [line for _, line in lines if line["used"]]
    off = [abs(line["newest"]["value"] + 0.05) / line["newest"]["standard_uncertainty"] for line in used if line.get("newest")]
    silent = time.monotonic() - lines[-1][0]
    print(f"faults: {len(lines)} captures ({len(used)} used) within {lines[-1][0] - lines[0][0]:.0f} s, {len(troubles)} lines of trouble, status {trim.returncode}")
    print(f"  longest wait for a capture {max(gaps):.1f} s, at the end {silent:.1f} s; greatest |newest - true|/u {max(off):.1f}, above 5: {sum(one > 5 for one in off)}")
    kinds = {}
    for words in troubles:
        kind = re.sub(r"[\d.,]+", "N", words.strip())[:100]
        kinds[kind] = kinds.get(kind, 0) + 1
    for kind, count in sorted(kinds.items(), key=lambda pair: -pair[1])[:12]:
        print(f"  {count:5} {kind}")
    recovered = silent < 60 and max(gaps) < 60
    return recovered & grows("trim", memory, 1) & grows("practise", memory, 2)


def main():
    options = argparse.ArgumentParser()
    options.add_argument("program")
    options.add_argument("--captures", type=int, default=1000)
    options.add_argument("--rate", type=float, default=100)
    options.add_argument("--minutes", type=float, default=10)
    options.add_argument("--only", default="quick,steady,faults")
    asked = options.parse_args()
    only = asked.only.split(",")
    met = []
    if "quick" in only:
        met.append(quick(asked.program, asked.captures))
    if "steady" in only:
        met.append(steady(asked.program, asked.rate, 60 * asked.minutes / 5))
    if "faults" in only:
        met.append(faults(asked.program, 60 * asked.minutes))
    print("all goals met" if all(met) else "A GOAL WAS MISSED")
    return 0 if all(met) else 1


sys.exit(main())
