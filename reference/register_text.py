"""What general-purpose readers make of a bench as text: Python's tomllib (TOML 1.0), csv (RFC 4180), hashlib, datetime.

Reads testdata/register/bench.toml, probes.csv and inputs.csv, and writes values.csv beside them (or into the folder named):
one line for each value, with where it stands. Also digests of the messages of FIPS 180-4 and times of RFC 3339, 5.8.
"""

import csv
import hashlib
import sys
import tomllib
from datetime import datetime, timezone
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent / "testdata" / "register"

# FIPS 180-4 example messages; the last is a million letters a.
MESSAGES = {
    "abc": b"abc",
    "448 bits": b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
    "a million letters a": b"a" * 1_000_000,
}

# RFC 3339, section 5.8, without the leap seconds, which datetime does not know.
TIMES = ["1985-04-12T23:20:50.52Z", "1996-12-19T16:39:57-08:00", "1937-01-01T12:00:27.87+00:20"]


def flat(value, path=""):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from flat(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from flat(inner, f"{path}.{index}")
    else:
        yield path, str(value).lower() if isinstance(value, bool) else str(value)


def rows():
    with open(HERE / "bench.toml", "rb") as file:
        for path, value in flat(tomllib.load(file)):
            yield "toml", path, value
    for name in ["probes", "inputs"]:
        with open(HERE / f"{name}.csv", newline="", encoding="utf-8") as file:
            for index, line in enumerate(csv.DictReader(file, strict=True)):
                for key, value in line.items():
                    yield f"{name}.csv", f"{index}.{key}", value
    for name, message in MESSAGES.items():
        yield "sha256", name, hashlib.sha256(message).hexdigest()
    for text in TIMES:
        moment = datetime.fromisoformat(text) - datetime(1970, 1, 1, tzinfo=timezone.utc)
        yield "unix_ms", text, str(round(moment.total_seconds() * 1000))


def main():
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    folder.mkdir(parents=True, exist_ok=True)
    with open(folder / "values.csv", "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["kind", "place", "value"])
        writer.writerows(rows())


main()
