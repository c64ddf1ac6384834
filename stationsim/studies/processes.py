"""Many like tasks, in this process or in several: what comes out does not depend on it."""

from __future__ import annotations

import multiprocessing
import time
from concurrent.futures import FIRST_EXCEPTION, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, TypeVar

from stationsim.errors import StationSimError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_Task = TypeVar("_Task")
_Came = TypeVar("_Came")

_WORTH_PROCESSES_S = 6.0
"""Processes take a second or two to start: they pay when this much is still to be run [s]."""


def each_of(
    work: Callable[[_Task], _Came],
    tasks: Sequence[_Task],
    processes: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> list[_Came]:
    """Do every task and return what each came to, in their order.

    Parameters
    ----------
    work
        What is done with a task; a function of a module, so that another process finds it.
    tasks
        The tasks; what they hold can be pickled.
    processes
        How many processes may run at once; further ones are started only when the first task shows
        that they pay.
    progress
        Told after each task how many are done, of how many.

    Raises
    ------
    StationSimError
        What a task raises, and when a process ends before its task does.
    """

    def tell(done: int) -> None:
        if progress is not None:
            progress(done, len(tasks))

    tell(0)
    began = time.perf_counter()
    done = [work(tasks[0])]
    tell(1)
    rest = tasks[1:]
    to_run_s = (time.perf_counter() - began) * len(rest)
    if processes > 1 and len(rest) > 1 and to_run_s > _WORTH_PROCESSES_S:
        return done + in_processes(work, rest, min(processes, len(rest)), lambda n: tell(n + 1))
    for task in rest:
        done.append(work(task))
        tell(len(done))
    return done


def in_processes(
    work: Callable[[_Task], _Came],
    tasks: Sequence[_Task],
    processes: int,
    tell: Callable[[int], None],
) -> list[_Came]:
    """Do every task in some other process and return what each came to, in their order.

    Parameters
    ----------
    work, tasks
        What is done, and with what.
    processes
        How many processes run at once.
    tell
        Told how many are done.

    Raises
    ------
    StationSimError
        What a task raises, and when a process ends before its task does.
    """
    # a new interpreter each: copies of this one would inherit the threads of its libraries
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(processes, mp_context=context)
    try:
        open_: set[Future[_Came]] = set()
        futures = [pool.submit(work, task) for task in tasks]
        for future in futures:
            future.add_done_callback(lambda _: tell(sum(one.done() for one in futures)))
        _, open_ = wait(futures, return_when=FIRST_EXCEPTION)
        if open_:
            pool.shutdown(wait=False, cancel_futures=True)
        ended = (one for one in futures if one.done() and not one.cancelled())
        failed = next((one for one in ended if one.exception()), None)
        return [failed.result()] if failed is not None else [one.result() for one in futures]
    except BrokenProcessPool as error:
        message = "a process ended before what it ran did (out of memory?)"
        raise StationSimError(message) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
