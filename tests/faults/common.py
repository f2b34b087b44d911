"""What the fault tests share: the program, the demo's files, folders compared by their bytes, a run's peak memory."""

import hashlib
import os
import pathlib
import shutil
import signal
import subprocess
import sys
import tempfile

DEMO = pathlib.Path(__file__).resolve().parents[2] / "data" / "demo"
PROGRAM = pathlib.Path(sys.argv[1]).resolve() if len(sys.argv) > 1 else None

# Quick commands that write many files; the seed makes one result differ from another.
STACK = ["stack", "pack.toml", "--method", "monte-carlo", "--trials", "5000", "--quiet"]


def workplace():
    """A new folder with the demo's files."""
    folder = pathlib.Path(tempfile.mkdtemp(prefix="packdrift-faults-"))
    for file in DEMO.iterdir():
        shutil.copy(file, folder)
    return folder


def listening():
    """For a process to be interrupted: a shell starts what runs in its background with Ctrl-C ignored, and the program keeps to that."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def start(folder, arguments, **more):
    return subprocess.Popen(
        [PROGRAM, *arguments], cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, preexec_fn=listening, **more
    )


def run(folder, arguments, **more):
    """Status and standard error."""
    done = subprocess.run([PROGRAM, *arguments], cwd=folder, capture_output=True, text=True, **more)
    return done.returncode, done.stderr


def contents(folder):
    """Each file below a folder with the SHA-256 of its bytes."""
    folder = pathlib.Path(folder)
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def leftovers(folder):
    """Working places that a run left beside its results."""
    return sorted(str(path) for path in pathlib.Path(folder).rglob(".packdrift*"))


def peak(folder, arguments, timeout):
    """Status (None where it had to be ended), peak memory in MiB, seconds of processor time, standard error."""
    # A process of its own, so that the largest of the children is this one.
    script = (
        "import resource,subprocess,sys\n"
        "try: done = subprocess.run(sys.argv[2:], capture_output=True, timeout=float(sys.argv[1]))\n"
        "except subprocess.TimeoutExpired: print('None'); sys.exit()\n"
        "used = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "print(done.returncode, used.ru_maxrss // 1024, used.ru_utime + used.ru_stime)\n"
        "sys.stdout.flush(); sys.stdout.buffer.write(done.stderr[:2000])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(timeout), str(PROGRAM), *arguments], cwd=folder, capture_output=True
    )
    head, _, error = done.stdout.partition(b"\n")
    if head == b"None":
        return None, 0, 0.0, ""
    status, mebibytes, seconds = head.split()
    return int(status), int(mebibytes), float(seconds), error.decode(errors="replace")


def conclude(name, failures, figures):
    """Prints what was found, and ends with status 1 if anything failed."""
    print(f"{name}: {figures}")
    for failure in failures:
        print(f"FAILED {name}: {failure}")
    sys.exit(1 if failures else 0)


def remove(folder):
    shutil.rmtree(folder, ignore_errors=True)


def is_root():
    return hasattr(os, "geteuid") and os.geteuid() == 0
