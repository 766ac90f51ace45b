"""Much work of one kind, spread over processes or, by dask, over a cluster."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from typing import Any, TypeVar

from host_sim.common.errors import InputError
from host_sim.common.versions import fingerprint

Item = TypeVar("Item")
Result = TypeVar("Result")

CONNECT_S = 10
START_METHOD = "spawn"


@contextmanager
def executor(workers: int | None, dask: str | None = None) -> Iterator[Executor]:
    """A pool of processes, one a core unless told otherwise, or the cluster at an address.

    Raises InputError where nobody answers at the address, where no worker is there, or where a
    worker does not run this very program.
    """
    if dask is None:
        with processes(workers or os.cpu_count() or 1) as pool:
            yield pool
        return
    try:
        from distributed import Client
    except ImportError:
        raise InputError("--dask: needs the package distributed: "
                         "pip install \".[cluster]\"") from None
    try:
        client = Client(dask, timeout=CONNECT_S)
    except (OSError, ValueError) as error:
        raise InputError(f"--dask {dask}: no scheduler answers there: {error}") from error
    with client:
        problem = (cluster_problem(*_pythons(client.get_versions()))
                   or cluster_problem(client.run(what_runs_here()), fingerprint()))
        if problem:
            raise InputError(f"--dask {dask}: {problem}")
        yield client.get_executor(pure=False)


@contextmanager
def processes(count: int) -> Iterator[Executor]:
    """A pool of so many processes. Ctrl-C ends them at once, and none of them says a word.

    A terminal interrupts all processes of a command together. One that was struck while it held a
    lock of the pool would leave the others waiting for ever; so it strikes this one alone.
    """
    # A fork would copy whatever threads and locks this process has; a new process has none.
    with ProcessPoolExecutor(count, get_context(START_METHOD)) as pool:
        with _without_interrupts():  # the new processes keep it so
            for _ in range(count):  # each starts one, for none of them is idle yet
                pool.submit(int)
        try:
            yield pool
        except KeyboardInterrupt:
            for child in active_children():
                child.terminate()
            raise


@contextmanager
def _without_interrupts() -> Iterator[None]:
    """Let Ctrl-C wait, where the system can."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def what_runs_here() -> Callable[[], str]:
    """A function that tells, wherever it is called, which version of this program is there.

    It is a function inside a function so that it travels to a worker as code: a worker that
    lacks the package could not even look up one that travels by its name.
    """
    def tell() -> str:
        try:
            from importlib import import_module

            return str(import_module("host_sim.common.versions").fingerprint())
        except ImportError as error:
            return f"{error}"

    return tell


def _pythons(told: Any) -> tuple[dict[str, str], str]:
    """Python of each worker, and ours: between two versions of it no code can travel."""
    def python(place: Mapping[str, Any]) -> str:
        return "Python " + str(place["packages"]["python"]).split(".final")[0]

    workers = {name: python(worker) for name, worker in told["workers"].items()}
    return workers, python(told["client"])


def cluster_problem(found: Mapping[str, str], wanted: str) -> str:
    """What is wrong with a cluster, or an empty text; `found` is what each worker told."""
    if not found:
        return "the scheduler has no worker: start one with `dask worker`"
    for worker, told in sorted(found.items()):
        if told != wanted:
            return (f"the worker at {worker} has another program than this one ({told}, here "
                    f"{wanted}): install the same version of the package there, then restart it")
    return ""


def run_all(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    pool: Executor | None,
    tell: Callable[[float], None],
) -> list[Result]:
    """The results in the order of the items; `tell` is told the share done.

    Without a pool everything is done here and now. What the work raises is raised.
    """
    if pool is None:
        return [_told(work(item), index + 1, len(items), tell) for index, item in enumerate(items)]
    futures: list[Future[Result]] = [pool.submit(work, item) for item in items]
    try:
        for count, future in enumerate(as_completed(futures), start=1):
            future.result()
            tell(count / len(futures))
    except Exception:  # Ctrl-C ends the pool itself
        for future in futures:
            future.cancel()
        raise
    return [future.result() for future in futures]


def _told(result: Result, count: int, total: int, tell: Callable[[float], None]) -> Result:
    tell(count / total)
    return result
