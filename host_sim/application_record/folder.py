"""The folder of an application record: the page, the table, the raw data, and checksums of all.

    application_record.html   to print and sign
    application_record.csv    for a spreadsheet
    raw/                      the run and the job file as they were
    SHA256SUMS                as `sha256sum --check SHA256SUMS` reads it

A record is never overwritten. The checksums show damage and careless change; who can change a
file can also change its checksum, and only a page that was printed and signed tells then.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from host_sim.application_record.job import Job, read_job
from host_sim.application_record.page import to_csv, to_html
from host_sim.application_record.profiles import load_profile
from host_sim.application_record.sheet import RecordSheet, fill
from host_sim.application_record.work_done import WorkDone, load_work, work_parts
from host_sim.common.errors import InputError, plain
from host_sim.common.output import check_directory, new_part
from host_sim.common.reading import check_file, read_text
from host_sim.runs.recording_file import LARGEST_BYTES

PAGE, TABLE, RAW, SUMS = (
    "application_record.html", "application_record.csv", "raw", "SHA256SUMS")
_SUM_LINE = re.compile(r"([0-9a-f]{64}) [ *](.+)")


def make_record(run: Path, job_file: Path, out: Path, us: bool | None) -> RecordSheet:
    """Make the folder `out` whole, or not at all; returns what stands in the record.

    `us` says which units come first, None that those of the profile or of the run do.

    The record is made of the copies of the raw data, so that it is true of them even where a
    recording still goes on. Raises InputError.
    """
    check_directory(out)
    if out.exists() and any(out.iterdir()):
        raise InputError(f"{out}: is not empty, and a record is not overwritten")
    job = read_job(job_file)
    sources = [*work_parts(run), job_file]
    for source in sources:
        check_file(source, LARGEST_BYTES)
    if len({source.name for source in sources}) < len(sources):
        raise InputError(f"{job_file}: has the name of a file of the run; the record keeps both")
    part: Path | None = None
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        part = new_part(out, is_directory=True)
        raw = part / RAW
        raw.mkdir()
        for source in sources:
            shutil.copyfile(source, raw / source.name)
        work = _load_copy(run, raw)
        sheet = _write(part, work, job, _units(work, job, us))
        if out.exists():
            out.rmdir()
        part.rename(out)
    except OSError as error:
        unread = error.filename in map(str, sources) and not error.filename2  # both: a copy
        words = f"{error.filename}: cannot be read" if unread else f"{out}: cannot be written"
        raise InputError(f"{words}: {error.strerror}") from error
    finally:
        if part:
            shutil.rmtree(part, ignore_errors=True)
    return sheet


def _units(work: WorkDone, job: Job, us: bool | None) -> bool:
    """Which units come first: those asked for, those of the profile, those of the run."""
    for chosen in (us, load_profile(job.profile).us):
        if chosen is not None:
            return chosen
    return work.us


def _load_copy(run: Path, raw: Path) -> WorkDone:
    """The run from its copy, with complaints about the original."""
    copy = raw if run.is_dir() else raw / run.name
    try:
        return load_work(copy)
    except InputError as error:
        raise InputError(*(line.replace(plain(copy), plain(run)) for line in error.args)) from None


def _write(folder: Path, work: WorkDone, job: Job, us: bool) -> RecordSheet:
    """Page, table and checksums beside the raw data."""
    sheet = fill(work, job, us)
    raw = [(path.relative_to(folder).as_posix(), sha256(path))
           for path in sorted((folder / RAW).iterdir())]
    (folder / PAGE).write_text(to_html(sheet, work, us, raw), encoding="utf-8")
    (folder / TABLE).write_text(to_csv(sheet), encoding="utf-8", newline="")
    made = [(name, sha256(folder / name)) for name in (PAGE, TABLE)]
    (folder / SUMS).write_text(
        "".join(f"{digest}  {name}\n" for name, digest in [*made, *raw]), encoding="utf-8")
    return sheet


def sha256(path: Path) -> str:
    """Checksum of a file, however large."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def verify(folder: Path) -> list[str]:
    """What is wrong with a record, a line each; nothing where every file is as it was.

    Raises InputError where the folder is no record.
    """
    kept = dict(_read_sums(folder))
    there = {path.relative_to(folder).as_posix()
             for path in folder.rglob("*") if path.is_file()} - {SUMS}
    return [
        *(f"{folder / name}: {words}" for name, digest in kept.items()
          if (words := _problem(folder / name, digest))),
        *(f"{folder / name}: does not belong to the record" for name in sorted(there - set(kept))),
    ]


def _problem(path: Path, digest: str) -> str:
    if not os.path.lexists(path):
        return "is missing"
    try:
        check_file(path, LARGEST_BYTES)
        return "" if sha256(path) == digest else "was changed after the record was made"
    except InputError as error:
        return str(error).removeprefix(f"{plain(path)}: ")
    except OSError as error:
        return f"cannot be read: {error.strerror}"


def _read_sums(folder: Path) -> Iterator[tuple[str, str]]:
    path = folder / SUMS
    lines = read_text(path).replace("\r\n", "\n").split("\n")
    if lines[-1] == "":
        lines.pop()
    if not lines:
        raise InputError(f"{path}:1: holds no checksum")
    for number, line in enumerate(lines, start=1):
        match = _SUM_LINE.fullmatch(line)
        if not match or ".." in Path(match[2]).parts or Path(match[2]).is_absolute():
            raise InputError(f"{path}:{number}: is no checksum of a file in this folder")
        yield match[2], match[1]
