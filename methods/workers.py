"""Long simulations in pieces: here, in processes of this machine, or on a cluster, with the same numbers everywhere.

A piece has a size and a seed of its own, whoever works on it; results are put together in the order of the pieces. So
the numbers depend on the seed and not on how many workers there were, nor on which of them died. Any executor of
:mod:`concurrent.futures` will do, a Dask client's (extra ``cluster``) too::

    from methods.workers import cluster
    with cluster("tcp://scheduler:8786") as executor:
        prove_oil(kv, fillings=fillings, repetitions=100_000, executor=executor)
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any

import numpy as np

from methods.errors import InputError, one_line
from methods.extras import need
from methods.randomness import seed_of

#: Repetitions of one piece.
PIECE = 25

Progress = Callable[[int, int], None]


def pieces(repetitions: int, rng: Any, size: int = PIECE) -> list[tuple[int, np.random.SeedSequence]]:
    """Sizes and seeds of the pieces, which follow from the seed and from nothing else.

    Parameters
    ----------
    repetitions : int
        How many simulations there are in all.
    rng : int or Generator
        A seed or a generator.
    size : int, default PIECE
        Simulations in one piece.

    Raises
    ------
    InputError
        ``rng`` is neither a seed nor a generator.
    """
    sizes = [min(size, repetitions - start) for start in range(0, repetitions, size)]
    return list(zip(sizes, np.random.SeedSequence(seed_of(rng)).spawn(len(sizes)), strict=True))


def carry_out(
    function: Callable[..., Any], shared: Sequence[Any], parts: Sequence[tuple[Any, ...]], *,
    executor: Executor | None = None, progress: Progress | None = None,
) -> list[Any]:  # fmt: skip
    """``function(*shared, *part)`` for every part, in their order.

    Parameters
    ----------
    function : callable
        Of a module, so that workers find it by its name.
    executor : concurrent.futures.Executor, optional
        Without one the parts are worked on here, one after the other.
    progress : callable, optional
        Called with the number of parts done and that of all; may raise to stop.
    shared : sequence of object
        Arguments that every part gets.
    parts : sequence of tuple[object, ...]
        The further arguments of each part.

    Notes
    -----
    A part that died with its worker is worked on here; what it raised itself is raised.
    """
    done = 0

    def told() -> None:
        if progress is not None:
            progress(done, len(parts))

    told()
    if executor is None:
        out = []
        for part in parts:
            out.append(function(*shared, *part))
            done += 1
            told()
        return out
    futures: list[Future[Any]] = []
    found: dict[int, Any] = {}
    try:
        try:
            futures += [executor.submit(function, *shared, *part) for part in parts]
        except RuntimeError:  # the pool broke while it was filled: the rest is worked on here
            pass
        place = {future: i for i, future in enumerate(futures)}
        for future in as_completed(futures):
            try:
                found[place[future]] = future.result()
            except Exception as error:
                if not _worker_died(error):
                    raise
                continue
            done += 1
            told()
    finally:
        for future in futures:
            future.cancel()
    for i, part in enumerate(parts):
        if i not in found:
            found[i] = function(*shared, *part)
            done += 1
            told()
    return [found[i] for i in range(len(parts))]


def _worker_died(error: BaseException) -> bool:
    """Whether a part came to nothing because of its worker, not of itself."""
    return any(
        kind.__name__ in ("BrokenExecutor", "KilledWorker", "CancelledError", "FutureCancelledError")
        for kind in type(error).__mro__
    )


@contextmanager
def cluster(address: str | None = None, *, client: Any = None) -> Iterator[Executor]:
    """An executor of a Dask scheduler: at an address, or of a client that is connected.

    Raises
    ------
    MissingExtra
        Dask is not installed.
    InputError
        Nothing answers there, there is no worker, or a worker has another version of gapshift.
    """
    Client = need("distributed", "A cluster", "cluster").Client
    own = client is None
    if own:
        try:
            client = Client(address, timeout="10s")
        except (OSError, ValueError) as why:
            raise InputError(
                f"No Dask scheduler answers at {address!r}: {one_line(why, 120)}.", text=str(address),
                rule="an address such as tcp://host:8786",
            ) from None  # fmt: skip
    try:
        there = client.run(_version)
        if not there:
            raise InputError(f"The Dask scheduler at {client.scheduler.address} has no worker.", rule="a worker")
        other = {where: version for where, version in there.items() if version != _version()}
        if other:
            where, version = next(iter(other.items()))
            raise InputError(f"The worker {where} has gapshift {version}, here it is {_version()}.", rule="one version")
        yield client.get_executor(pure=False)
    finally:
        if own:
            client.close()


@contextmanager
def processes(number: int | None = None) -> Iterator[Executor]:
    """An executor of processes of this machine, as many as processors unless said."""
    with ProcessPoolExecutor(number or os.cpu_count(), mp_context=get_context("spawn")) as pool:
        yield pool


def _version() -> str:
    """The version of gapshift, here or on a worker."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("gapshift")
    except PackageNotFoundError:
        return "(not installed)"
