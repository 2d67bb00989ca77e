#!/usr/bin/env python3
"""Writes the small captures in valid/ and invalid/. Needs nothing but Python 3.12; the same files come out each time.

Each file shows one shape or one fault; its name says which. Sample k of K is taken at T(k) and reads V(k).
zstd files hold raw blocks only (RFC 8878, 3.1.1.2.2), so that no compressor is needed.
"""
import gzip
import struct
from pathlib import Path

HERE = Path(__file__).parent
K = 24


def T(k):
    return (k - 4) * 1e-6


def V(k):
    return (0.5 if (k // 6) % 2 else -0.5) + 0.001 * k


def write(name, content):
    path = HERE / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())


def lines(form, rows=range(K), end="\n"):
    return "".join(form(k) + end for k in rows)


def plain(k):
    return f"{T(k):.7f},{V(k):.3f}"


def comma(text):
    return text.replace(".", ",")


def zstd(content):
    size = struct.pack("<I", len(content))
    block = struct.pack("<I", 1 | len(content) << 3)[:3]  # last block, raw
    return b"\x28\xb5\x2f\xfd" + b"\xa0" + size + block + content


def npy(descr, shape, data, fortran=False, version=1):
    text = f"{{'descr': '{descr}', 'fortran_order': {fortran}, 'shape': {shape}, }}"
    fixed = 10 if version == 1 else 12
    text += " " * (-(fixed + len(text) + 1) % 64) + "\n"
    length = struct.pack("<H" if version == 1 else "<I", len(text))
    return b"\x93NUMPY" + bytes([version, 0]) + length + text.encode() + data


def wav(code, channels, bits, data, rate=48000, stated=None, extensible=False, between=b""):
    frame = channels * bits // 8
    form = struct.pack("<HHIIHH", 0xFFFE if extensible else code, channels, rate, rate * frame, frame, bits)
    if extensible:
        guid = struct.pack("<H", code) + bytes.fromhex("000000001000800000aa00389b71")
        form += struct.pack("<HHI", 22, bits, 0) + guid
    stated = len(data) if stated is None else stated
    body = b"WAVE" + b"fmt " + struct.pack("<I", len(form)) + form + between
    body += b"data" + struct.pack("<I", stated) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


def codes(k):
    return round(V(k) * 20000)


def valid():
    w = lambda name, content: write("valid/" + name, content)
    w("comma.csv", lines(plain))
    w("header-units.csv", "Time (ms),CH1 (mV)\n" + lines(lambda k: f"{T(k) * 1e3:.4f},{V(k) * 1e3:.0f}"))
    w("header-brackets-semicolon.csv", "t[s];U[V]\n" + lines(lambda k: comma(f"{T(k):.7f};{V(k):.3f}")))
    w("header-underscore.csv", "time_s,ch1_V\n" + lines(plain))
    w("unit-row.csv", "Time,Channel A\n(us),(V)\n\n" + lines(lambda k: f"{T(k) * 1e6:.1f},{V(k):.3f}"))
    w("unit-row-short.csv", "x-axis,1\nsecond,Volt\n" + lines(lambda k: f"{T(k):+.7E},{V(k):+.3E}"))
    w("micro-sign-utf8.csv", "Time (\u00b5s),U (V)\n" + lines(lambda k: f"{T(k) * 1e6:.1f},{V(k):.3f}"))
    w("micro-greek-utf8.csv", "Time (\u03bcs),U (V)\n" + lines(lambda k: f"{T(k) * 1e6:.1f},{V(k):.3f}"))
    w("micro-latin1.csv", ("Time (\u00b5s),U (\u00b5V)\n" + lines(lambda k: f"{T(k) * 1e6:.1f},{V(k) * 1e6:.0f}")).encode("latin-1"))
    w("tab.txt", "Time (s)\tU (V)\n" + lines(lambda k: f"{T(k):.7f}\t{V(k):.3f}"))
    w("tab-decimal-comma.txt", "Zeit (s)\tU (V)\n" + lines(lambda k: comma(f"{T(k):.7f}\t{V(k):.3f}")))
    w("tab-and-blanks.txt", "Time (s)\tU (V)\n" + lines(lambda k: f"  {T(k):.7f} \t  {V(k):.3f} "))
    w("blanks.txt", "# Time (s)   U (V)\n" + lines(lambda k: f"  {T(k): .7e}   {V(k): .3e}"))
    w("blanks-decimal-comma.txt", lines(lambda k: comma(f"{T(k):.7f}   {V(k):.3f}")))
    w("comma-and-blank.csv", "Time (s), U (V)\n" + lines(lambda k: f"{T(k):.7f}, {V(k):.3f}"))
    w("trailing-comma.csv", "Time (s),U (V),\n" + lines(lambda k: plain(k) + ","))
    w("trailing-semicolon-no-header.csv", lines(lambda k: comma(f"{T(k):.7f};{V(k):.3f};")))
    w("quoted.csv", '"Time (s)","U (V)"\n' + lines(lambda k: f'"{T(k):.7f}","{V(k):.3f}"'))
    w("quoted-decimal-comma.csv", '"Time (s)","U (V)"\n' + lines(lambda k: '"' + comma(f"{T(k):.7f}") + '","' + comma(f"{V(k):.3f}") + '"'))
    w("crlf.csv", "Time (s),U (V)\r\n" + lines(plain, end="\r\n"))
    w("cr-only.csv", "Time (s),U (V)\r" + lines(plain, end="\r"))
    w("byte-order-mark.csv", b"\xef\xbb\xbf" + ("Time (s),U (V)\n" + lines(plain)).encode())
    w("utf16-le.csv", b"\xff\xfe" + ("Time (\u00b5s)\tU (V)\r\n" + lines(lambda k: f"{T(k) * 1e6:.1f}\t{V(k):.3f}", end="\r\n")).encode("utf-16-le"))
    w("utf16-be.csv", b"\xfe\xff" + ("Time (\u00b5s)\tU (V)\r\n" + lines(lambda k: f"{T(k) * 1e6:.1f}\t{V(k):.3f}", end="\r\n")).encode("utf-16-be"))
    preamble = "Instrument,Bench A scope\nRecord length,24\nSample interval,1e-6\n1000,2.5e-6\n\n"
    w("preamble.csv", preamble + "Time (s),U (V)\n" + lines(plain))
    w("preamble-comments.csv", "# Probe 07\n# 10:1\n#\n# Time (s),U (V)\n" + lines(plain))
    w("three-columns.csv", "Time (s),CH1 (V),CH2 (V)\n" + lines(lambda k: f"{plain(k)},{2 * V(k):.3f}"))
    w("index-time-voltage.csv", "No,Time (s),U (V)\n" + lines(lambda k: f"{k},{plain(k)}"))
    w("index-time-voltage-no-header.csv", lines(lambda k: f"{k},{plain(k)}"))
    w("time-last.csv", "U (V),Time (s)\n" + lines(lambda k: f"{V(k):.3f},{T(k):.7f}"))
    w("two-time-columns.csv", "Time (s),A (V),Time (s),B (V)\n" + lines(lambda k: f"{plain(k)},{plain(k)}"))
    w("empty-columns.csv", lines(lambda k: f",,{plain(k)}"))
    settings = ["Record Length,2.5e+03", "Sample Interval,1e-6", "Trigger Point,1.2e3", "Source,CH1"]
    w("text-beside-samples.csv", lines(lambda k: f"{settings[k] if k < 4 else ','},,{plain(k)},"))
    w("setting-above-column.csv", "Points: 24\n" + lines(lambda k: f"{V(k):.3f}"))
    w("one-column.csv", "U (V)\n" + lines(lambda k: f"{V(k):.3f}"))
    w("two-columns-no-time.csv", "A (V),B (V)\n" + lines(lambda k: f"{V(k):.3f},{-V(k):.3f}"))
    w("current-unit.csv", "Time (s),I (A)\n" + lines(plain))
    w("time-unit-unknown.csv", "Time (div),U (V)\n" + lines(plain))
    w("seventeen-digits.csv", lines(lambda k: f"{T(k):.16e},{V(k):.16e}"))
    w("no-line-end.csv", lines(plain).rstrip("\n"))
    w("last-line-cut.csv", lines(plain) + "0.0000200,0.5")
    w("last-line-cut-in-time.csv", lines(plain) + "0.00002")
    w("blank-lines-at-end.csv", lines(plain) + "\n\n \n")
    w("double-spaced.csv", lines(plain, end="\n\n"))
    w("carriage-return-twice.csv", lines(plain, end="\r\r\n"))
    missing = {3: "", 4: "NaN", 5: "--", 9: "9.91E+37", 10: "-9.9E37", 11: "inf"}
    w("missing-samples.csv", "Time (s),U (V)\n" + lines(lambda k: f"{T(k):.7f},{missing.get(k, f'{V(k):.3f}')}"))
    # Six significant digits far from zero: ten neighbours share one printed time.
    w("time-rounded.csv", "Time (s),U (V)\n" + lines(lambda k: f"{0.5 + k * 1e-7:.6f},{V(k % K):.3f}", range(200)))
    w("time-jitter.csv", "Time (s),U (V)\n" + lines(lambda k: f"{T(k) + (k * 7 % 5 - 2) * 0.8e-7:.9f},{V(k):.3f}"))
    w("whole-number-codes.csv", lines(lambda k: f"{codes(k)},{-codes(k)}"))
    w("gzip-text.csv.gz", gzip.compress(lines(plain).encode(), mtime=0))
    w("gzip-two-members.gz", gzip.compress(lines(plain, range(12)).encode(), mtime=0) + gzip.compress(lines(plain, range(12, K)).encode(), mtime=0))
    w("zstd-text.csv.zst", zstd(lines(plain).encode()))
    w("zstd-two-frames.zst", zstd(lines(plain, range(12)).encode()) + b"\x50\x2a\x4d\x18\x03\x00\x00\x00abc" + zstd(lines(plain, range(12, K)).encode()))
    volts = [V(k) for k in range(K)]
    f8 = struct.pack(f"<{K}d", *volts)
    w("f8.npy", npy("<f8", f"({K},)", f8))
    w("f8-version-2.npy", npy("<f8", f"({K},)", f8, version=2))
    w("f8-version-3.npy", npy("<f8", f"({K},)", f8, version=3))
    w("f8-big-end.npy", npy(">f8", f"({K},)", struct.pack(f">{K}d", *volts)))
    w("f4.npy", npy("<f4", f"({K},)", struct.pack(f"<{K}f", *volts)))
    w("i2.npy", npy("<i2", f"({K},)", struct.pack(f"<{K}h", *map(codes, range(K)))))
    w("u1.npy", npy("|u1", f"({K},)", bytes(100 + k for k in range(K))))
    w("i8-wide.npy", npy("<i8", f"({K},)", struct.pack(f"<{K}q", *(2**53 + k for k in range(K)))))
    rows = [x for k in range(K) for x in (T(k), V(k))]
    w("f8-rows.npy", npy("<f8", f"({K}, 2)", struct.pack(f"<{2 * K}d", *rows)))
    split = [T(k) for k in range(K)] + volts
    w("f8-rows-fortran.npy", npy("<f8", f"({K}, 2)", struct.pack(f"<{2 * K}d", *split), fortran=True))
    w("f8-columns-first.npy", npy("<f8", f"(2, {K})", struct.pack(f"<{2 * K}d", *split)))
    w("f8-nan.npy", npy("<f8", f"({K},)", struct.pack(f"<{K}d", *volts[:5], float("nan"), float("inf"), *volts[7:])))
    w("f8-trailing.npy", npy("<f8", f"({K},)", f8 + b"abc"))
    w("gzip-npy.npy.gz", gzip.compress(npy("<f8", f"({K},)", f8), mtime=0))
    i2 = struct.pack(f"<{K}h", *map(codes, range(K)))
    w("pcm-16.wav", wav(1, 1, 16, i2))
    w("pcm-16-chunks.wav", wav(1, 1, 16, i2, between=b"LIST" + struct.pack("<I", 3) + b"abc\0"))
    w("pcm-8.wav", wav(1, 1, 8, bytes(128 + codes(k) // 256 for k in range(K))))
    w("pcm-24.wav", wav(1, 1, 24, b"".join(struct.pack("<i", codes(k) * 256)[:3] for k in range(K))))
    w("pcm-32.wav", wav(1, 1, 32, struct.pack(f"<{K}i", *(codes(k) * 65536 for k in range(K)))))
    w("pcm-16-stereo-extensible.wav", wav(1, 2, 16, b"".join(struct.pack("<hh", codes(k), -codes(k)) for k in range(K)), extensible=True))
    w("float-32.wav", wav(3, 1, 32, struct.pack(f"<{K}f", *volts)))
    w("float-64.wav", wav(3, 1, 64, f8))
    w("pcm-16-cut.wav", wav(1, 1, 16, i2[:-5], stated=len(i2)))


def invalid():
    w = lambda name, content: write("invalid/" + name, content)
    body = lambda n=K: lines(plain, range(n))
    w("empty.csv", b"")
    w("binary.dat", bytes(range(256)) * 4)
    w("utf16-no-mark.csv", body().encode("utf-16-le"))
    w("units-in-fields.csv", lines(lambda k: f"{T(k):.7f} s,{V(k):.3f} V"))
    w("header-only.csv", "Time (s),U (V)\n")
    w("words-only.txt", "This is a letter\nand no capture\n")
    w("blank-only.csv", "\n\n\n")
    w("five-points.csv", "Time (s),U (V)\n" + body(5))
    w("no-interval.csv", "U (V)\n" + lines(lambda k: f"{V(k):.3f}"))
    w("no-interval-two-columns.csv", "A (V),B (V)\n" + lines(lambda k: f"{V(k):.3f},{-V(k):.3f}"))
    w("no-interval-index.csv", "Sample,U (V)\n" + lines(lambda k: f"{k},{V(k):.3f}"))
    rows = body().splitlines()
    def edit(at, text):
        changed = list(rows)
        changed[at : at + 1] = text if isinstance(text, list) else [text]
        return "\n".join(changed) + "\n"
    w("words-in-data.csv", "Time (s),U (V)\n" + edit(15, "0.0000110,abc"))
    w("words-early.csv", "Time (s),U (V)\n" + edit(4, "trigger"))
    w("words-in-time.csv", edit(15, "abc,0.1"))
    w("footer.csv", body() + "End of record\n")
    w("field-missing.csv", edit(15, "0.0000110"))
    w("field-missing-early.csv", edit(4, "0.0000000"))
    w("field-too-much.csv", edit(15, "0.0000110,0.5,0.6"))
    w("decimal-comma-and-comma.csv", "Time,U\n" + lines(lambda k: comma(f"{T(k):.7f}") + "," + comma(f"{V(k):.3f}")))
    w("decimal-mark-changes.csv", lines(lambda k: (comma if k == 15 else str)(f"{T(k):.7f};{V(k):.3f}")))
    w("time-blank.csv", edit(15, ",0.5"))
    w("time-backwards.csv", edit(15, "-0.0000110,0.5"))
    w("time-descending.csv", "Time (s),U (V)\n" + lines(plain, reversed(range(K))))
    w("time-repeats.csv", edit(15, [rows[15], rows[15]]))
    w("time-gap.csv", "\n".join(rows[:10] + rows[13:]) + "\n")
    w("time-two-gaps.csv", "Time (s),U (V)\n" + lines(plain, [k for k in range(60) if k not in (20, 40, 41)]))
    w("time-uneven.csv", "Time (s),U (V)\n" + lines(lambda k: f"{k * k * 1e-6:.7f},{V(k):.3f}"))
    w("two-records.csv", "Time (s),U (V)\n" + body() + body())
    w("blank-line-no-time.csv", "U (V)\n" + lines(lambda k: "" if k == 15 else f"{V(k):.3f}"))
    w("control-byte-late.csv", edit(15, "0.0000110,0.5\x00"))
    w("one-long-line.csv", ",".join(f"{V(k % K):.3f}" for k in range(100)))
    w("gzip-cut.gz", gzip.compress(body().encode(), mtime=0)[:-30])
    w("gzip-damaged.gz", bytearray_with(gzip.compress(body().encode(), mtime=0), -6, 0xFF))
    w("gzip-in-gzip.gz", gzip.compress(gzip.compress(b"1,2\n", mtime=0), mtime=0))
    w("gzip-empty.gz", gzip.compress(b"", mtime=0))
    w("zstd-cut.zst", zstd(body().encode())[:-30])
    w("zip.zip", b"PK\x03\x04" + bytes(40))
    f8 = struct.pack(f"<{K}d", *map(V, range(K)))
    w("no-interval.npy", npy("<f8", f"({K},)", f8))
    w("cut.npy", npy("<f8", f"({K},)", f8[:-8]))
    w("cut-in-header.npy", npy("<f8", f"({K},)", f8)[:60])
    w("huge-shape.npy", npy("<f8", "(4611686018427387904, 3)", f8))
    w("complex.npy", npy("<c16", f"({K // 2},)", f8))
    w("three-axes.npy", npy("<f8", "(2, 3, 4)", f8))
    w("version-9.npy", b"\x93NUMPY\x09\x00" + bytes(60))
    w("bad-header.npy", npy("<f8", f"[{K}]", f8))
    gap = [x for k in range(K + 3) if k not in (12, 13, 14) for x in (T(k), V(k))]
    w("time-gap.npy", npy("<f8", f"({K}, 2)", struct.pack(f"<{2 * K}d", *gap)))
    i2 = struct.pack(f"<{K}h", *map(codes, range(K)))
    w("compressed.wav", wav(2, 1, 16, i2))
    w("no-data.wav", wav(1, 1, 16, i2)[:36])
    w("no-rate.wav", wav(1, 1, 16, i2, rate=0))
    w("few-points.wav", wav(1, 1, 16, i2[:20]))


def bytearray_with(content, at, value):
    changed = bytearray(content)
    changed[at] ^= value
    return bytes(changed)


valid()
invalid()
