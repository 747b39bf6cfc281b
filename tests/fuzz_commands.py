"""Every command on spoilt files: whatever a file holds, there is an answer or one sentence.

    python tests/fuzz_commands.py --mutants 5000 --processes 2

A case takes the files of an invented machine, spoils one or two of them and runs one command in this process.
The case numbered k of a seed is always the same: `--case k` runs it alone and shows what it says.
"""

import argparse
import collections
import contextlib
import io
import json
import multiprocessing
import os
import random
import re
import resource
import signal
import sys
import tempfile
import time
import warnings
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from ductsim import cli
from ductsim.machine.demos import FOLDER

LIMIT = 60.0  # seconds of work for one case; a case that waits may take ten times as long by the clock
MEMORY = 4 * 2**30
FAULTS = ("fault of its own", "Traceback", "should not happen", "Warning:")
BENCH_FIXES = """format = 1
[[fix]]
name = "seal hatch 4"
change = { "left duct.roughness" = "x0.5", "left duct.loss_coefficient" = 3.0 }
minutes = 10
cost = 5
[[fix]]
name = "other mouth"
minutes = 20
replace = { "left mouth" = { area = "350 cm2", loss_coefficient = 0.4 } }
"""
BENCH_READINGS = """tapping;quantity;value;engine_speed;set;sd;resolution;blanked;temperature;note
left tapping;static;-340 Pa;1500 rpm;a;3 Pa;1 Pa;;20 degC;
right tapping;total;-150,5 Pa;1500 rpm;a;;;;;in the rain
left tapping - right tapping;static;-20 Pa;1500 rpm;b;;;;;
left tapping;velocity pressure;200 Pa;1500 rpm;b;;;right mouth;;
fan;speed;1490 rpm;1500 rpm;b;;;;;
"""
BENCH_MORE = """
[[unknown]]
number = "* mouth.loss_coefficient"
low = 0.1
likely = 0.5
high = 2.0
[[trim]]
number = "* mouth.area"
low = "150 cm2"
high = "400 cm2"
sizes = ["200 cm2", "250 cm2", "300 cm2"]
[[spread]]
number = "left duct.length"
kind = "triangular"
low = "3.9 m"
likely = "4 m"
high = "4.2 m"
[[spread]]
number = "* mouth.area"
kind = "lognormal"
sd = "5 %"
group = "mouths"
correlation = 0.5
"""
CROP = """format = 1
[crop]
crop_yield = "0.40 kg/m2"
row_spacing = "1.0 m"
ground_speed = "5 km/h"
highest_speed = "8 km/h"
"""
# command -> (share, smaller for those that work long; words after the machine, companions that it reads)
COMMANDS = {
    "solve": (26, [[], ["--tappings"], ["--of", "shaft power"], ["--change", "*.area=x0.9"]], []),
    "check": (16, [[], ["readings.csv"]], ["readings"]),
    "sensitivity": (4, [[]], []),
    "compare": (4, [["--budget", "45 min"], []], ["fixes"]),
    "sweep": (6, [["*.area", "x0.9", "x1.1"], ["*.speed", "100 rpm", "90 rpm"]], []),
    "balance": (3, [[]], []),
    "faults": (3, [[], ["--of", "shaft power"]], []),
    "fit": (4, [[], ["--relative"], ["--suspects"]], ["readings"]),
    "where-to-measure": (1, [["--most", "2"]], ["readings"]),
    "visit": (1, [["--minutes", "40"]], ["fixes"]),
    "proof": (1, [["--fix", "seal hatch 4"]], ["fixes"]),
    "ground-speed": (2, [[], ["--seen", "seen.csv"], ["--crop", "crop.toml"]], ["crop", "seen", "fixes"]),
    "calibrate": (11, [[], ["--crop", "crop.toml"]], ["seen", "crop"]),
    "field-pass": (11, [[], ["--margin", "1.15"], ["--crop", "crop.toml"]], ["field", "crop"]),
    "fill": (11, [[], ["--crop", "crop.toml"]], ["crop"]),
    "ensemble": (2, [["--samples", "64"], ["--samples", "64", "--method", "sobol"]], []),
    "report": (1, [["report.html"]], ["fixes", "readings", "crop"]),
    "field-card": (1, [["page.html"]], ["fixes", "readings", "crop"]),
}
FILES = {"fixes": "fixes.toml", "readings": "readings.csv", "crop": "crop.toml"} | {
    "seen": "seen.csv",
    "field": "field.csv",
}
NUMBERS = [
    "0",
    "-1",
    "1",
    "2",
    "0.0",
    "1e-308",
    "2.3e-308",
    "5e-324",
    "1e-12",
    "1e-6",
    "1e6",
    "1e12",
    "1e150",
]
NUMBERS += ["1e308", "-1e308", "1e400", "nan", "inf", "-inf", "9" * 400, "0x10", "1_000", "true", "1e-160"]
MEASURED = ["0 m", "1e-200 m", "1 nm", "-2 m", "1e9 m", "3 kPa", "-500 Pa", "1e-308 m2", "100 cm2", "1e6 m2"]
MEASURED += [
    "0 rpm",
    "1e5 rpm",
    "2100 rpm",
    "-1 rpm",
    "90 deg",
    "45 min",
    "3 s",
    "31 degC",
    "-300 degC",
    "5 %",
]
MEASURED += ["400 %", "5 km/h", "1e-9 km/h", "1e6 km/h", "0.4 kg/m2", "1e-9 kg/m2", "1e6 kg/m2", "1,2 m"]
MEASURED += ["x0.8", "x0", "x-1", "x1e300", "nan m", "2 1/4 in", "6 in", "1 m3/s", "1e-300 kg/s", "80 kg/m3"]
WORDS = [
    "outside",
    "air",
    "crop",
    "fill",
    "door 1",
    "hose 1",
    "fan",
    "plenum",
    "*",
    "*.*",
    "{unit}",
    "{",
    "",
    " ",
]
WORDS += [
    "left mouth",
    "door 1 - door 1",
    "a - b - c",
    "1+2",
    "1 + 1",
    "normal",
    "uniform",
    "lognormal",
    "easy",
]
WORDS += [
    "\\u001b[2J",
    "\\u0000",
    "\\u202e",
    "h\u043ese 1",
    "\u3164",
    "e\u0301",
    "\U0001f33e",
    "A" * 300,
    "x" * 25000,
]
OTHER = [
    "[]",
    "[[]]",
    "[[], []]",
    "{}",
    "[1]",
    '["1 m", "2 m"]',
    "[[1, 2], [3]]",
    "[{}]",
    '{kind = ["hose"]}',
]
OTHER += ["2020-01-01", "12:30:00", "'''a\nb'''", "false", '["hose"]', "[nan]", "{a = 1}", "[0, [0]]"]
TOKEN = re.compile(r'"[^"\n]*"|\[[^\[\]\n]*\]|(?<![\w"])-?\d[\w.+-]*')
NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.])(?=[^\n]*)")
CELL = re.compile(r"[^,;\n]+")


@cache
def folder_of(variant: str) -> dict[str, str]:
    """The files of an invented machine: the packaged ones, and for the bench some of this module."""
    machine = (FOLDER / f"{variant}.toml").read_text(encoding="utf-8")
    out = {"machine.toml": machine, "crop.toml": CROP}
    if variant == "bench":
        return out | {
            "machine.toml": machine + BENCH_MORE,
            "fixes.toml": BENCH_FIXES,
            "readings.csv": BENCH_READINGS,
        }
    for role, name in FILES.items():
        packaged = FOLDER / f"{variant}_{role}.{name.partition('.')[2]}"
        if packaged.is_file():
            out[name] = packaged.read_text(encoding="utf-8")
    return out


def value(rng: random.Random, old: str, table: bool) -> str:
    """Something odd to stand where `old` stood."""
    quoted = old.startswith('"')
    kind = rng.random()
    if kind < 0.25:  # the same kind of thing, another number
        number = rng.choice(NUMBERS[:16]) if rng.random() < 0.5 else f"{10 ** rng.uniform(-9, 9):.4g}"
        return re.sub(r"-?\d+(\.\d+)?([eE][+-]?\d+)?", number, old, count=1)
    if kind < 0.40:
        return rng.choice(NUMBERS)
    if kind < 0.65:
        found = rng.choice(MEASURED)
    elif kind < 0.82 or table:
        found = rng.choice(WORDS)
    else:
        return rng.choice(OTHER)
    return f'"{found}"' if quoted or not table else found


def token(rng: random.Random, text: str, table: bool) -> str:
    """One number, text, list or cell replaced by something odd."""
    found = list((CELL if table else TOKEN).finditer(text))
    if not found:
        return text
    at = rng.choice(found)
    return text[: at.start()] + value(rng, at.group(), table) + text[at.end() :]


def nudged(rng: random.Random, text: str, table: bool) -> str:
    """One number made larger or smaller, by a little or by decades, its measure kept."""
    found = list(NUMBER.finditer(text))
    if not found:
        return text
    at = rng.choice(found)
    new = f"{float(at.group()) * 10.0 ** rng.gauss(0.0, rng.choice([0.1, 0.5, 2.0, 8.0])):.5g}"
    new = rng.choice([new, new, new, new, "0", f"-{at.group()}", rng.choice(NUMBERS[:16])])
    return text[: at.start()] + new + text[at.end() :]


def lines(rng: random.Random, text: str, table: bool) -> str:
    """Lines lost, doubled, swapped, or many of one."""
    all_lines = text.splitlines() or [""]
    i, j = (rng.randrange(len(all_lines)) for _ in range(2))
    how = rng.randrange(5)
    if how == 0:
        del all_lines[i]
    elif how == 1:
        all_lines.insert(j, all_lines[i])
    elif how == 2:
        all_lines[i], all_lines[j] = all_lines[j], all_lines[i]
    elif how == 3:
        all_lines[i:i] = [all_lines[i]] * rng.choice([3, 30])
    else:
        del all_lines[min(i, j) : max(i, j)]
    return "\n".join(all_lines) + "\n"


def columns(rng: random.Random, text: str, table: bool) -> str:
    """Separators and marks replaced by others."""
    old, new = rng.choice(
        [(",", ";"), (",", "\t"), (".", ","), (";", ","), ('"', "'"), ("=", ":"), ("\n", "\r")]
    )
    return text.replace(old, new) if rng.random() < 0.5 else text.replace(old, new, 1)


def renamed(rng: random.Random, text: str, table: bool) -> str:
    """A name replaced by another, everywhere or once."""
    names = re.findall(r'"([^"\n]*)"' if not table else r"[^,;\n]+", text)
    if not names:
        return text
    old, new = rng.choice(names), rng.choice([*names, *WORDS])
    return text.replace(old, new, rng.choice([1, -1])) if old else text


HOW = [token, token, token, token, lines, lines, columns, renamed, renamed]


def spoilt(rng: random.Random, text: str, table: bool) -> bytes:
    """A file with one to three things wrong, now and then not even a text; half of them may be right."""
    if rng.random() < 0.5:
        for _ in range(rng.choice([1, 1, 2, 4])):
            text = nudged(rng, text, table)
        return text.encode()
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        text = rng.choice(HOW)(rng, text, table)
    raw = text.encode("utf-8", "surrogatepass")
    how = rng.random()
    if how < 0.80:
        return raw
    if how < 0.86:
        spoiled = bytearray(raw)
        for _ in range(rng.choice([1, 3, 20])):
            if spoiled:
                spoiled[rng.randrange(len(spoiled))] ^= 1 << rng.randrange(8)
        return bytes(spoiled)
    if how < 0.90:
        return raw[: rng.randrange(len(raw) + 1)]
    odd = [b"\xef\xbb\xbf" + raw, raw[:50] + b"\0" + raw[50:], text.encode("utf-16"), b"", b"\n\n", raw * 2]
    odd += [text.encode("latin-1", "replace"), raw.replace(b"\n", b"\r\n"), raw + b"\x1b[2J", raw[:200] * 300]
    return rng.choice(odd)


@dataclass
class Case:
    """One case: its number, its command line, its files, and what came of it."""

    number: int
    words: list[str]
    files: dict[str, bytes]
    seconds: float = 0.0  # of the processor's time
    status: int = 0
    said: str = ""
    wrong: str = ""


def case_of(seed: int, number: int) -> Case:
    """The case of a number: files and a command line."""
    rng = random.Random(f"{seed}:{number}")
    shares = [share for share, _, _ in COMMANDS.values()]
    command = rng.choices(list(COMMANDS), shares)[0]
    crop = command in ("ground-speed", "calibrate", "field-pass", "fill")
    variant = rng.choices(["picker", "bench", "suction"], [6, 1, 1] if crop else [6, 6, 1])[0]
    files = {name: text.encode() for name, text in folder_of(variant).items()}
    _, more, roles = COMMANDS[command]
    mine = ["machine.toml", *(FILES[role] for role in roles if FILES[role] in files)]
    for name in rng.sample(mine, min(len(mine), rng.choice([1, 1, 1, 2]))):
        files[name] = spoilt(rng, files[name].decode(), name.endswith(".csv"))
    words = [command, "machine.toml", *rng.choice(more)]
    if "crop.toml" not in words and crop and variant == "picker":
        files.pop("crop.toml", None)  # the machine's own crop counts
    if rng.random() < 0.3:
        words += [*(["--json"] if rng.random() < 0.6 else ["--measures", "inch"])]
    if command in ("solve", "sweep", "fill", "compare", "fit") and rng.random() < 0.03:
        words += ["--plot", "picture.svg"]
    return Case(number, words, files)


class TimeUp(BaseException):
    """The case took longer than allowed."""


def _time_up(*_: object) -> None:
    raise TimeUp


def run(case: Case, limit: float = LIMIT) -> Case:
    """Run a case in a folder of its own and say what is wrong with what it says, if anything."""
    here = os.getcwd()
    out, err = io.StringIO(), io.StringIO()
    before = {which: signal.signal(which, _time_up) for which in (signal.SIGALRM, signal.SIGPROF)}
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        for name, content in case.files.items():
            Path(folder, name).write_bytes(content)
        os.chdir(folder)
        start = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, limit)
        signal.setitimer(signal.ITIMER_REAL, 10.0 * limit)
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                case.status = cli.main(case.words)
        except TimeUp:
            case.wrong = f"took longer than {limit:g} s"
        except BaseException as fault:
            case.wrong = f"raised {type(fault).__name__}: {fault}"
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            signal.setitimer(signal.ITIMER_REAL, 0.0)
            for which, handler in before.items():
                signal.signal(which, handler)
            os.chdir(here)
        case.seconds = time.process_time() - start
    case.said = out.getvalue() + err.getvalue()
    case.wrong = (
        case.wrong
        or _wrong(case, out.getvalue(), err.getvalue())
        or "; ".join(f"{w.category.__name__} {w.message}" for w in heard[:2])
    )
    return case


def _wrong(case: Case, out: str, err: str) -> str:
    """What is wrong with an answer or a refusal; an empty text for nothing."""
    for words in FAULTS:
        if words in out + err:
            at = (out + err).index(words)
            return (out + err)[at : at + 160]
    if case.status not in (0, 1, 2):
        return f"status {case.status}"
    if any(not c.isprintable() for c in (out + err).replace("\n", "")):
        return "control characters in what it says"
    if "--json" in case.words:
        told = json.loads(out, parse_constant=lambda word: f"!{word}")
        if err or ("error" in told) > (case.status != 0):
            return "JSON and more"
    elif case.status == 2 and (out or not all(one.startswith("ductsim: ") for one in err.splitlines())):
        return "not one sentence"
    elif case.status == 0 and re.search(r"(?<![\w.'\"])-?(nan|inf)\b(?!'| is no )", out):
        at = re.search(r"(?<![\w.'\"])-?(nan|inf)\b(?!'| is no )", out)
        return f"no number: {' '.join(out[max(0, at.start() - 80) : at.end() + 20].split())}"
    return ""


def _prepare() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def _go(job: tuple[int, int, float]) -> Case:
    seed, number, limit = job
    case = run(case_of(seed, number), limit)
    case.files = {}
    return case


def many(seed: int, numbers: range, processes: int = 1, limit: float = LIMIT) -> list[Case]:
    """Run the cases of some numbers; those that went wrong are told as they come."""
    jobs = [(seed, number, limit) for number in numbers]
    if processes == 1:
        return [_told(_go(job)) for job in jobs]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context, initializer=_prepare) as pool:
        return [_told(case) for case in pool.map(_go, jobs, chunksize=10)]


def _told(case: Case) -> Case:
    if case.wrong:
        print(f"case {case.number} ({case.words[0]}, {case.seconds:.1f} s): {case.wrong}", flush=True)
    return case


def main() -> int:
    """Run many cases, or one and show what it says."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mutants", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--limit", type=float, default=LIMIT)
    parser.add_argument("--case", type=int)
    parser.add_argument("--keep", metavar="FOLDER", help="write the files of --case there")
    args = parser.parse_args()
    if args.case is not None:
        case = case_of(args.seed, args.case)
        if args.keep:
            Path(args.keep).mkdir(parents=True, exist_ok=True)
            for name, content in case.files.items():
                Path(args.keep, name).write_bytes(content)
        case = run(case, args.limit)
        print(" ".join(case.words), f"\n{case.said}\nstatus {case.status}, {case.seconds:.2f} s", case.wrong)
        return bool(case.wrong)
    cases = many(args.seed, range(args.first, args.first + args.mutants), args.processes, args.limit)
    wrong = [case for case in cases if case.wrong]
    by_status = collections.Counter((case.words[0], case.status) for case in cases)
    for command in COMMANDS:
        counts = ", ".join(f"status {s}: {by_status[command, s]}" for s in (0, 1, 2))
        print(f"{command:18}{counts}")
    print("slowest:")
    for case in sorted(cases, key=lambda case: -case.seconds)[:10]:
        print(f"  {case.seconds:6.1f} s  case {case.number}: {' '.join(case.words)}, status {case.status}")
    print(f"{len(cases):,} cases of seed {args.seed}; {len(wrong)} went wrong")
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
