"""Options for workers, and how they are lent; only long commands load what it takes."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

import typer

from linesim.setup.errors import refuse
from linesim.workers.runners import cluster, processes
from linesim.workers.tasks import Alone, Runner

Workers = Annotated[
    int | None,
    typer.Option(
        min=1,
        help="Processes of one thread each, for long runs.  [default: this process, in threads]",
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help='Workers of a Dask scheduler, "tcp://HOST:PORT" in a network you trust; "local:2" '
        "starts one on this machine. All must see the same files under the same paths. "
        "Extra: cluster.",
    ),
]


@contextmanager
def lent_runner(workers: int | None, address: str | None) -> Iterator[Runner]:
    """Lend the workers asked for, else this process."""
    refuse_both(workers, address)
    if address is None and workers is None:
        yield Alone()
        return
    with cluster(address) if address is not None else processes(workers or 1) as runner:
        yield runner


def refuse_both(workers: int | None, address: str | None) -> None:
    """Refuse workers of two sorts."""
    if address is not None and workers is not None:
        refuse("--workers: read --cluster too, which has its own workers; expected one of the two")
