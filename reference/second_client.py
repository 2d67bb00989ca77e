"""A second, independent client reads captures from the practice bench: PyVISA with its pure-Python back end.

Called by scripts/test. It starts the program, asks for captures over a raw socket and over HiSLIP, in three codings, fits the
square wave with SciPy, and compares with where the bench says its trimmer stands. Nothing here is taken from Flattop's own code.
Usage: second_client.py FLATTOP
"""

import json
import subprocess
import sys

import numpy
import pyvisa
from scipy.optimize import curve_fit

E = -0.06
HALF = 0.5e-3
LOW, HIGH = 0.0, 3.0


def wave(t, e, tau, start):
    """Steady state of a square wave behind a first-order shelf; closed form, edges of nil duration."""
    since = (t - start) % HALF
    rising = numpy.floor((t - start) / HALF) % 2 == 0
    tail = (HIGH - LOW) * e / (1 + numpy.exp(-HALF / tau)) * numpy.exp(-since / tau)
    return numpy.where(rising, HIGH + tail, LOW - tail)


def fitted(volts, interval):
    """e of a record, its edges left out."""
    t = numpy.arange(volts.size) * interval
    middle = (LOW + HIGH) / 2
    first = numpy.flatnonzero((volts[:-1] < middle) & (volts[1:] >= middle))[0]
    share = (middle - volts[first]) / (volts[first + 1] - volts[first])
    start = (first + share) * interval
    inner = ((t - start) % HALF > 3e-6) & ((t - start) % HALF < HALF - 3e-6)
    found, covariance = curve_fit(lambda t, e, tau: wave(t, e, tau, start), t[inner], volts[inner], [0.0, 90e-6])
    return found[0], covariance[0, 0] ** 0.5


def read(resource, truth):
    name = resource.query("*IDN?")
    assert name.startswith("HARROW LANE LIFT WORKS,PRACTICE DIGITIZER,"), name
    resource.write("*CLS;SENSe:SWEep:POINts 10000;TINTerval 1 US")
    interval = float(resource.query("SENSe:SWEep:TINTerval?"))
    for form, datatype, big in (("REAL,32", "f", True), ("REAL,64", "d", False), ("INTeger,16", "h", True), ("ASCii", None, None)):
        resource.write(f"FORMat:DATA {form};BORDer {'NORMal' if big else 'SWAPped'}")
        resource.write("INITiate")
        assert resource.query("*OPC?").strip() == "1"
        if datatype is None:
            volts = numpy.array(resource.query_ascii_values("FETCh?"))
        else:
            volts = resource.query_binary_values("FETCh?", datatype=datatype, is_big_endian=big, container=numpy.array)
        if datatype == "h":
            step, origin = (float(v) for v in resource.query("SENSe:VOLTage:RESolution?;RANGe:OFFSet?").split(";"))
            volts = origin + step * volts
        assert volts.size == 10_000, volts.size
        e, u = fitted(volts.astype(float), interval)
        print(f"  {form:10} e = {100 * e:+.3f} % ± {100 * u:.3f} %, the trimmer stands at {100 * truth:+.3f} %")
        # The edge is placed by one sample; that shifts e by at most its jitter over τ.
        assert abs(e - truth) < 0.002, (e, truth)
    assert resource.query("SYSTem:ERRor?").startswith("0,"), "the instrument has an error in its queue"
    resource.write("NONSense")
    assert resource.query("SYSTem:ERRor?").startswith("-113,")


def main(flattop):
    command = [flattop, "practise", "--listen", "127.0.0.1:0", "--hislip", "127.0.0.1:0", "--json"]
    command += [f"--start={E}", "--seed", "5", "--noise", "3 mV", "--rate", "100"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as bench:
        try:
            opened = json.loads(bench.stdout.readline())
            truth = opened["inputs"][0]["setting"]["compensation_error"]
            assert abs(truth - E) < 1e-9
            manager = pyvisa.ResourceManager("@py")
            host, port = opened["address"].removeprefix("tcp://").rsplit(":", 1)
            raw = manager.open_resource(f"TCPIP::{host}::{port}::SOCKET", read_termination="\n", write_termination="\n", timeout=20_000)
            print("raw socket")
            read(raw, truth)
            raw.close()
            host, port = opened["hislip"].removeprefix("hislip://").rsplit(":", 1)
            hislip = manager.open_resource(f"TCPIP::{host}::hislip0,{port}::INSTR", read_termination="\n", write_termination="\n", timeout=20_000)
            print("HiSLIP")
            read(hislip, truth)
            hislip.clear()
            assert hislip.query("*ESE 7;*ESE?").strip() == "7"
            hislip.close()
        finally:
            bench.kill()


if __name__ == "__main__":
    main(sys.argv[1])
