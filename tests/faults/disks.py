"""A disk that is full or may not be written, and folders that are gone: status 3, the reason, and the old results as they were.

    disks.py PROGRAM          as root small disks in memory are mounted; otherwise a limit on the size of files stands for the full one
"""

import os
import pathlib
import resource
import shutil
import subprocess
import tempfile

from common import STACK, conclude, contents, is_root, leftovers, remove, run, workplace


def command(seed, out):
    return [*STACK, "--seed", str(seed), "--out", str(out)]


def failed(failures, what, folder, wanted, got):
    status, error = got
    if status != 3 or "could not" not in error:
        failures.append(f"{what}: status {status}: {error}")
    if folder and contents(folder) != wanted:
        failures.append(f"{what}: the old results are not as they were")
    if folder and leftovers(pathlib.Path(folder).parent):
        failures.append(f"{what}: left {leftovers(pathlib.Path(folder).parent)}")


class Mounted:
    """A disk of so many KiB in memory."""

    def __init__(self, kibibytes):
        self.kibibytes = kibibytes

    def __enter__(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="packdrift-disk-"))
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={self.kibibytes}k", "tmpfs", self.folder], check=True)
        return self.folder

    def __exit__(self, *_):
        subprocess.run(["mount", "-o", "remount,rw", self.folder], check=False)
        subprocess.run(["umount", self.folder], check=True)
        self.folder.rmdir()


def full_and_read_only(at, failures):
    with Mounted(16_384) as disk:
        report = disk / "report"
        run(at, command(1, report))
        wanted = contents(report)
        assert wanted, "the first run wrote nothing"
        # Room for a part of the next report, at several places.
        for room in (0, 16, 100, 300):
            free = shutil.disk_usage(disk).free // 1024
            (disk / "ballast").write_bytes(bytes(max(0, free - room) * 1024))
            failed(failures, f"a disk with {room} KiB left", report, wanted, run(at, command(2, report)))
            workbook = ["stack", "pack.toml", "--quiet", "--xlsx", str(disk / "tables.xlsx")]
            status, _ = run(at, workbook)
            if room < 16 and status != 3:
                failures.append(f"a workbook on a full disk: status {status}")
            (disk / "tables.xlsx").unlink(missing_ok=True)
            (disk / "ballast").unlink()
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        failed(failures, "a disk that may not be written", report, wanted, run(at, command(2, report)))
        subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
        # The mount point itself cannot be exchanged: the files are moved in.
        remove(report)
        for seed in (1, 2):
            status, error = run(at, command(seed, disk))
            if status not in (0, 1) or "report.html" not in contents(disk):
                failures.append(f"a mount point: status {status}: {error}")
        if leftovers(disk):
            failures.append(f"a mount point: left {leftovers(disk)}")


def small_files(at, failures):
    """A limit on the size of files: what is longer is refused by the system, as on a full disk."""
    report = at / "report"
    run(at, command(1, report))
    wanted = contents(report)

    def limit():
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    # Python ignores the signal that goes with the limit, and hands that on.
    got = run(at, command(2, report), preexec_fn=limit, restore_signals=False)
    failed(failures, "files of 20 kB at most", report, wanted, got)
    remove(report)


def gone(at, failures):
    """Folders that are not there any more, or never were."""
    inner = at / "inner"
    inner.mkdir()
    script = f'cd "{inner}" && rmdir "{inner}" && exec "$0" "$@"'
    from common import PROGRAM

    done = subprocess.run(
        ["sh", "-c", script, PROGRAM, "stack", str(at / "pack.toml"), "--out", "report"], capture_output=True, text=True
    )
    if done.returncode != 3:
        failures.append(f"a folder that is gone: status {done.returncode}: {done.stderr}")
    for out in ("pack.toml/report", "/proc/report", "/dev/null/report"):
        status, error = run(at, command(1, out))
        # Below a file nothing can be: the option is wrong. /proc is a folder that takes none.
        expected = (3, "could not") if out.startswith("/proc") else (2, "is a file")
        if status != expected[0] or expected[1] not in error:
            failures.append(f"{out}: status {status}: {error}")
    status, error = run(at, ["stack", "gone/pack.toml"])
    if status != 2 or "no such file" not in error:
        failures.append(f"an input in a folder that is gone: status {status}: {error}")
    if os.path.exists("/dev/full"):
        with open("/dev/full", "w") as full:
            done = subprocess.run([PROGRAM, "check", "pack.toml"], cwd=at, stdout=full, stderr=subprocess.PIPE, text=True)
        if done.returncode != 3:
            failures.append(f"standard output is full: status {done.returncode}: {done.stderr}")


def main():
    failures = []
    at = workplace()
    disks = is_root() and shutil.which("mount") is not None
    mounted = False
    if disks:
        try:
            full_and_read_only(at, failures)
            mounted = True
        except subprocess.CalledProcessError as error:
            print(f"no disk could be mounted here ({error}); the limit on files stands for it")
    small_files(at, failures)
    gone(at, failures)
    remove(at)
    conclude("disks", failures, f"{'mounted disks' if mounted else 'a limit on files'}, {len(failures)} failures")


main()
