"""Work on other machines: a Dask cluster makes one call per item.

When a worker dies, the scheduler gives its items to another. An item whose worker
died after finishing it, but before its result arrived, is therefore computed twice:
the function must give the same result, and leave the same files, when called again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from lutbench.errors import LutbenchError, MissingExtraError

Item = TypeVar("Item")
Value = TypeVar("Value")

CONNECT_SECONDS = 10.0
"""Seconds to wait for a scheduler: a running one answers within milliseconds."""


@dataclass(frozen=True)
class Done(Generic[Item, Value]):
    """The outcome for one item: its value, or the reason why there is none."""

    item: Item
    value: Value | None
    error: str = ""


def run_on_cluster(
    function: Callable[..., Value],
    items: Sequence[Item],
    address: str,
    *,
    shared: Any = None,
    on_done: Callable[[Done[Item, Value]], None] | None = None,
    connect_seconds: float = CONNECT_SECONDS,
) -> list[Done[Item, Value]]:
    """Call ``function(item)`` for every item on the workers of a Dask scheduler.

    Parameters
    ----------
    function
        A function that pickle finds by its name (defined in a module). The workers
        need the same version of lutbench, and must see the same files.
    items
        Small things that pickle can carry, such as paths.
    address
        The scheduler's address, such as ``tcp://10.0.0.5:8786``.
    shared
        When given, the function is called ``function(item, shared)``. It is sent once
        to each worker, not once for each item, and survives the death of a worker.
    on_done
        Called in this thread as each item is finished, to show progress.

    Returns
    -------
    list of Done
        One for each item, in the order of `items`, also where workers died.

    Raises
    ------
    LutbenchError
        When no scheduler or worker answers, or a worker runs another version.
    """
    done: list[Done[Item, Value] | None] = [None] * len(items)
    found = each_on_cluster(
        function, items, address, shared=shared, connect_seconds=connect_seconds
    )
    for index, outcome in found:
        done[index] = outcome
        if on_done is not None:
            on_done(outcome)
    return [each for each in done if each is not None]


def each_on_cluster(
    function: Callable[..., Value],
    items: Sequence[Item],
    address: str,
    *,
    shared: Any = None,
    connect_seconds: float = CONNECT_SECONDS,
) -> Iterator[tuple[int, Done[Item, Value]]]:
    """As `run_on_cluster`, but yields each item's index and outcome as soon as it is finished."""
    client = _connected(address, connect_seconds)
    try:
        _check_workers(client, address, connect_seconds)
        yield from _each(client, function, items, shared)
    finally:
        client.close()


def _each(
    client: Any, function: Callable[..., Value], items: Sequence[Item], shared: Any
) -> Iterator[tuple[int, Done[Item, Value]]]:
    from distributed import as_completed

    # A task of its own, not scattered data: the scheduler can compute it again
    # when the only worker that held it dies.
    extra = () if shared is None else (client.submit(_identity, shared, pure=False),)
    futures = [client.submit(function, item, *extra, pure=False) for item in items]
    position = {future.key: index for index, future in enumerate(futures)}
    finished = as_completed(futures, loop=client.loop)
    del futures  # so that each result is freed when it is released below
    for future in finished:
        if future.status in ("pending", "lost"):
            # Its worker died after reporting the result, before it was read here: wait again.
            finished.add(future)
            continue
        index = position[future.key]
        if future.status == "finished":
            outcome: Done[Item, Value] = Done(items[index], future.result())
        else:
            outcome = Done(items[index], None, _reason(future))
        future.release()
        yield index, outcome


def _identity(value: Any) -> Any:
    return value


def _reason(future: Any) -> str:
    """Why an item has no value, in one line."""
    if future.status == "cancelled":
        return "the scheduler cancelled it"
    error = future.exception()
    if isinstance(error, LutbenchError):
        return str(error)
    if type(error).__name__ == "KilledWorker":
        return "every worker that was given it died"
    return " ".join(f"{type(error).__name__}: {error}".split())


def _connected(address: str, seconds: float) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        raise MissingExtraError("distributed", "cluster", "work on a cluster") from error
    try:
        return Client(address, timeout=seconds, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise LutbenchError(
            "no scheduler answers", where=address, accepted="tcp://HOST:PORT of a Dask scheduler"
        ) from error


def _check_workers(client: Any, address: str, seconds: float) -> None:
    """Require at least one worker, and this version of lutbench on all of them."""
    from lutbench import __version__

    try:
        client.wait_for_workers(1, timeout=seconds)
    except TimeoutError as error:
        raise LutbenchError("the scheduler has no worker", where=address) from error
    try:
        versions = client.run(worker_version)
    except ImportError as error:
        raise LutbenchError(
            "a worker has no lutbench", where=address, accepted=f"lutbench {__version__} in each"
        ) from error
    for worker, version in versions.items():
        if version != __version__:
            raise LutbenchError(
                f"a worker runs lutbench {version}", where=worker, accepted=__version__
            )


def worker_version() -> str:
    """The version of lutbench; runs on each worker."""
    from lutbench import __version__

    return __version__
