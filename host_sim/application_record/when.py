"""When an application was made, by the job file or by the clock of the recording computer."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from host_sim.application_record.entries import JOB
from host_sim.application_record.job import Job
from host_sim.application_record.profiles import Profile
from host_sim.application_record.work_done import WorkDone

CLOCK = "clock of the recording computer"
FAR_OFF = timedelta(days=1)  # between the dates of job file and recording


def started(work: WorkDone) -> datetime | None:
    """When the recording was begun, in UTC; a run of the twin has no such time."""
    times = work.about.get("started")
    return datetime.fromisoformat(times[0]) if times else None


def day(work: WorkDone, job: Job, profile: Profile) -> tuple[str, str]:
    """The date in words, empty where nobody knows it, and where it comes from."""
    if job.day:
        return profile.written(job.day), JOB
    begun = started(work)
    return (f"{profile.written(begun.date())} (UTC)", CLOCK) if begun else ("", JOB)


def too_late(work: WorkDone, job: Job, profile: Profile) -> Iterator[str]:
    """That the work was done when the rules of the profile were no longer there."""
    begun = started(work)
    done = job.day or (begun and begun.date())
    if profile.until and done and done > profile.until:
        yield (f"The profile {profile.name} is of rules that held until "
               f"{profile.written(profile.until)}; this work is of {profile.written(done)}.")


def hours(work: WorkDone, job: Job) -> str:
    """When applying began and ended, empty where it never did or nobody knows."""
    if not work.applying_s:
        return ""
    first, last = (timedelta(seconds=second) for second in work.applying_s)
    begun = started(work)
    if job.start:
        begin = datetime.combine(job.day or date.min, job.start)
        return f"{begin + first:%H:%M:%S} to {begin + last:%H:%M:%S}"
    if begun:
        return f"{begun + first:%H:%M:%S} to {begun + last:%H:%M:%S} UTC"
    return f"from {round(first.total_seconds())} to {round(last.total_seconds())} s of the run"


def disagreement(work: WorkDone, job: Job) -> Iterator[str]:
    """That job file and recording are of different days, where they are."""
    begun = started(work)
    if begun and job.day and abs(begun.date() - job.day) > FAR_OFF:
        yield (f"The job file says {job.day.isoformat()}, but the recording was begun "
               f"{begun:%Y-%m-%d %H:%M} UTC: one of them is wrong.")
