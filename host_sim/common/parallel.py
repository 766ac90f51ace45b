"""Much work of one kind, spread over processes or, by dask, over a cluster."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from typing import TypeVar

from host_sim.common.errors import InputError

Item = TypeVar("Item")
Result = TypeVar("Result")

CONNECT_S = 10


@contextmanager
def executor(workers: int | None, dask: str | None = None) -> Iterator[Executor]:
    """A pool of processes, one a core unless told otherwise, or the cluster at an address.

    Raises InputError where nobody answers at the address.
    """
    if dask is None:
        with ProcessPoolExecutor(workers or os.cpu_count()) as pool:
            yield pool
        return
    from distributed import Client

    try:
        client = Client(dask, timeout=CONNECT_S)
    except (OSError, ValueError) as error:
        raise InputError(f"--dask {dask}: no scheduler answers there: {error}") from error
    with client:
        yield client.get_executor(pure=False)


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
    except BaseException:
        for future in futures:
            future.cancel()
        raise
    return [future.result() for future in futures]


def _told(result: Result, count: int, total: int, tell: Callable[[float], None]) -> Result:
    tell(count / total)
    return result
