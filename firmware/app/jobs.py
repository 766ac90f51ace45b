"""Periodic jobs in a plain loop: everything the application does outside the tick."""

from rate_control.intmath import LIMIT, ticks_diff

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

NAME, PERIOD_US, RUN, DUE_US = range(4)


class Jobs:
    """A table of jobs, each run when it is due; a late one runs once, not several times.

    on_failure(name, error) is called where a job raises; the others go on.
    """

    def __init__(self, on_failure: "Callable[[str, Exception], None]") -> None:
        self._table: list[list] = []
        self._on_failure = on_failure

    def add(self, name: str, period_ms: int, run: "Callable[[], object]") -> None:
        """Run run() about every period_ms from now on."""
        self._table.append([name, period_ms * 1000, run, None])

    def poll(self, now_us: int) -> None:
        """Run every job that is due at now_us (wraps at 2**30)."""
        for job in self._table:
            if job[DUE_US] is not None and ticks_diff(now_us, job[DUE_US]) < 0:
                continue
            job[DUE_US] = (now_us + job[PERIOD_US]) & LIMIT
            try:
                job[RUN]()
            except Exception as error:  # whatever it is, the tick must learn of it
                self._on_failure(job[NAME], error)
