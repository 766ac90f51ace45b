"""When an application was made, by the job file or by the clock of the recording computer."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from host_sim.application_record.entries import JOB
from host_sim.application_record.job import Job
from host_sim.application_record.profiles import Profile
from host_sim.runs.record import RunRecord
from rate_control.interlock import APPLYING

CLOCK = "clock of the recording computer"
FAR_OFF = timedelta(days=1)  # between the dates of job file and recording


def started(record: RunRecord) -> datetime | None:
    """When the recording was begun, in UTC; a run of the twin has no such time."""
    times = record.about.get("started")
    return datetime.fromisoformat(times[0]) if times else None


def day(record: RunRecord, job: Job, profile: Profile) -> tuple[str, str]:
    """The date in words, empty where nobody knows it, and where it comes from."""
    if job.day:
        return profile.written(job.day), JOB
    begun = started(record)
    return (f"{profile.written(begun.date())} (UTC)", CLOCK) if begun else ("", JOB)


def too_late(record: RunRecord, job: Job, profile: Profile) -> Iterator[str]:
    """That the work was done when the rules of the profile were no longer there."""
    begun = started(record)
    done = job.day or (begun and begun.date())
    if profile.until and done and done > profile.until:
        yield (f"The profile {profile.name} is of rules that held until "
               f"{profile.written(profile.until)}; this work is of {profile.written(done)}.")


def hours(record: RunRecord, job: Job) -> str:
    """When applying began and ended, empty where it never did."""
    time_s = record["time_s"][record["state"] == APPLYING]
    if not len(time_s):
        return ""
    first, last = timedelta(seconds=float(time_s[0])), timedelta(seconds=float(time_s[-1]))
    begun = started(record)
    if job.start:
        begin = datetime.combine(job.day or date.min, job.start)
        return f"{begin + first:%H:%M:%S} to {begin + last:%H:%M:%S}"
    if begun:
        return f"{begun + first:%H:%M:%S} to {begun + last:%H:%M:%S} UTC"
    return f"from {round(first.total_seconds())} to {round(last.total_seconds())} s of the run"


def disagreement(record: RunRecord, job: Job) -> Iterator[str]:
    """That job file and recording are of different days, where they are."""
    begun = started(record)
    if begun and job.day and abs(begun.date() - job.day) > FAR_OFF:
        yield (f"The job file says {job.day.isoformat()}, but the recording was begun "
               f"{begun:%Y-%m-%d %H:%M} UTC: one of them is wrong.")
