"""Many tray shots on the workers of a Dask scheduler that runs already; paths are sent to them, not pictures.

The engine is the library `distributed`. Scheduler and workers see the same storage at the same paths as we do.
"""
# mypy: disallow-untyped-calls=False

import logging
import pickle
import secrets
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.run.attempt import Outcome, attempt, on_one_core
from app.run.batch import same_trays
from app.run.shot import Work
from vision.errors import Unusable
from vision.formats import write_atomic

if TYPE_CHECKING:
    from distributed import Client, Future

RETRIES = 3
"""Tries of a shot after one that came to no outcome; worker deaths are counted by the scheduler (four by default)."""
NO_WORKER_S = 60.0
"""So long a run waits for a worker to come (back)."""
TLS_FILES = ("ca.pem", "cert.pem", "key.pem")
# Shots sent ahead for each worker's thread: enough that none is idle while the first in line is tried again.
_AHEAD = 4
_LOOK_S, _CONNECT_S = 0.5, 10.0
# What decides the last digit.
_ALIKE = ("brightbowl", "numpy", "scipy", "opencv-python")


@dataclass(frozen=True, slots=True)
class Cluster:
    """Where the scheduler listens; `tls`: a folder with the certificates that let us in, for `tls://`."""

    address: str
    tls: Path | None = None


@dataclass(slots=True, eq=False)
class _Run:
    """A run under way: what is sent with each shot, and where we are."""

    client: "Client"
    cluster: Cluster
    work: bytes
    running: "deque[tuple[Path, Future[Any] | None]]" = field(default_factory=deque)

    def send(self, folder: Path) -> "Future[Any]":
        """Have a shot judged by any worker."""
        key = f"{folder.name} {secrets.token_hex(4)}"
        report = (str(folder.resolve()), self.work, _versions())
        return self.client.submit(judge_there, *report, key=key, retries=RETRIES, pure=False)


class _Gone(Exception):
    """The scheduler, or the last worker, is not there any more; the text says which."""


def read_cluster(address: str, tls: Path | None, plain: bool) -> Cluster:
    """Check what was given for `--scheduler` and `--tls`.

    Parameters
    ----------
    address
        `tcp://HOST:PORT` or `tls://HOST:PORT`.
    tls
        Folder of the certificates; none without TLS.
    plain
        A person says that a scheduler without TLS will do: whoever reaches it may run what they like on its workers.

    Returns
    -------
    Cluster
        Where the cluster is reached; no connection is made.

    Raises
    ------
    Unusable
        The address is none, the certificates for `tls://` are missing, or it is `tcp://` and nobody says so.
    """
    scheme, _, place = address.partition("://")
    if scheme not in ("tcp", "tls") or not place.rpartition(":")[2].isdigit():
        raise Unusable("--scheduler", "", "tcp://HOST:PORT or tls://HOST:PORT", address)
    if scheme == "tcp" and not plain:
        expected = "tls://HOST:PORT with --tls; or say --plain where nobody but you reaches the scheduler"
        raise Unusable("--scheduler", "", expected, address)
    if (scheme == "tls") != (tls is not None):
        raise Unusable("--tls", "", f"a folder with {', '.join(TLS_FILES)} goes with tls://, and with tls:// only")
    for name in TLS_FILES if tls is not None else ():
        assert tls is not None
        if not (tls / name).is_file():
            raise Unusable(tls / name, "", "a file of this name expected in the folder of --tls", "none")
    return Cluster(address, tls)


def inspect_on(
    cluster: Cluster, folders: Sequence[Path], work: Work, report: Callable[[str], None]
) -> Iterator[Outcome]:
    """Inspect shots on a cluster and yield their outcomes in the order given: the same as on one machine.

    A worker that dies costs its shots another try. A shot whose workers keep dying is tried once more when no other
    of ours runs, then set aside. When the scheduler is gone, or no worker has been there for a minute, the rest is not
    judged; the last outcome says so.

    Parameters
    ----------
    told
        Called now and then with words that tell where which shot is.

    Raises
    ------
    Unusable
        The scheduler can't be reached, or a worker differs from us or does not see the folder of results.
    """
    same = same_trays(folders, work.station)
    sent = pickle.dumps(replace(work, out=work.out.resolve()))
    with closing(_connect(cluster)) as client:
        from distributed import KilledWorker

        _check_workers(client, work.out.resolve())
        run, waiting = _Run(client, cluster, sent), deque(folders)
        while waiting or run.running:
            try:
                ahead = _AHEAD * max(_threads(client), 1)
                while waiting and len(run.running) < ahead:
                    run.running.append((waiting[0], None if waiting[0] in same else run.send(waiting[0])))
                    waiting.popleft()
                folder, future = run.running[0]
                if future is None:
                    outcome = same[folder]
                else:
                    try:
                        outcome = _wait(run, folder, future, len(waiting), report)
                    except KilledWorker:
                        for _, other in run.running:
                            if other is not None:
                                other.exception()  # comes when it has ended, well or not
                        outcome = _alone(run, folder, len(waiting), report)
            except (_Gone, OSError, CancelledError) as fault:
                left = len(waiting) + len(run.running)
                why = str(fault) if isinstance(fault, _Gone) else "the scheduler is gone"
                line = f"{cluster.address}: {why}; {left} trays not judged: start it anew, then run again"
                yield Outcome(run.running[0][0] if run.running else waiting[0], None, (line,))
                return
            run.running.popleft()
            yield replace(outcome, folder=folder)


def judge_there(folder: str, work: bytes, versions: dict[str, str]) -> Outcome:
    """What a worker does with a shot.

    Raises
    ------
    Unusable
        The worker holds other versions than those who sent the shot, so its result might differ.
    """
    if versions != _versions():
        raise Unusable(folder, "", "a worker with the same versions expected", f"{_versions()}, not {versions}")
    on_one_core()
    return attempt(Path(folder), pickle.loads(work))


def _versions() -> dict[str, str]:
    return {name: version(name) for name in _ALIKE}


def _connect(cluster: Cluster) -> "Client":
    try:
        from distributed import Client, Security
    except ModuleNotFoundError:
        install = "pip install brightbowl[cluster]"
        raise Unusable("--scheduler", "", f"the library that reaches a cluster: {install}", "no distributed") from None
    security = None
    if cluster.tls is not None:
        ca, cert, key = (str(cluster.tls / name) for name in TLS_FILES)
        security = Security(require_encryption=True, tls_ca_file=ca, tls_client_cert=cert, tls_client_key=key)
    # What goes wrong is told by us, in a line.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        return Client(cluster.address, timeout=_CONNECT_S, security=security, set_as_default=False)
    except (OSError, ValueError) as fault:
        found = " ".join(str(fault.__cause__ or fault).split()) or type(fault).__name__
        expected = "a scheduler that answers; start it (`dask scheduler`), or correct --scheduler"
        raise Unusable(cluster.address, "", expected, found) from None


def _check_workers(client: "Client", out: Path) -> None:
    """Refuse workers that would give other results, or put them elsewhere."""
    for name, ours in _versions().items():
        for worker, theirs in client.run(version, name, on_error="return").items():
            if theirs != ours:
                found = "none" if isinstance(theirs, Exception) else str(theirs)
                raise Unusable(f"worker {worker}", name, f"{ours} expected, as here; install it there", found)
    trial = out / f".brightbowl-{secrets.token_hex(6)}"
    write_atomic(trial, "")
    try:
        for worker, seen in client.run(Path.is_file, trial).items():
            if not seen:
                expected = "storage that it shares with this machine, at the same path"
                raise Unusable(f"worker {worker}", str(out), expected, "another folder, or none")
    finally:
        trial.unlink()


def _threads(client: "Client") -> int:
    return sum(client.nthreads().values())


def _wait(run: _Run, folder: Path, future: "Future[Any]", waiting: int, report: Callable[[str], None]) -> Outcome:
    """The outcome of a shot, telling meanwhile what is where; raises KilledWorker or CancelledError."""
    from distributed import KilledWorker

    last_seen = time.monotonic()
    while not future.done():
        with suppress(TimeoutError):
            future.exception(timeout=_LOOK_S)
        if run.client.status != "running":
            raise _Gone("the scheduler is gone")
        now = time.monotonic()
        last_seen = now if _threads(run.client) else last_seen
        if now - last_seen > NO_WORKER_S:
            raise _Gone(f"no worker for {NO_WORKER_S:.0f} s")
        report(_where(run, waiting))
    fault = future.exception()
    if fault is None:
        outcome: Outcome = future.result()
        return outcome
    if isinstance(fault, KilledWorker | CancelledError):
        raise fault
    said = (
        str(fault) if isinstance(fault, Unusable) else f"{folder}: its worker failed ({type(fault).__name__}: {fault})"
    )
    return Outcome(folder, None, (" ".join(said.split()),))


def _alone(run: _Run, folder: Path, waiting: int, report: Callable[[str], None]) -> Outcome:
    """Another try while nothing else of ours runs, so that a shot which kills its workers takes no other along."""
    from distributed import KilledWorker

    try:
        return _wait(run, folder, run.send(folder), waiting, report)
    except KilledWorker:
        line = f"{folder}: set aside, each worker that judged it died; give workers more memory, or judge it by itself"
        return Outcome(folder, None, (line,))


def _where(run: _Run, waiting: int) -> str:
    """How many shots wait, and which worker has which."""
    at = {worker: [str(key) for key in keys] for worker, keys in run.client.processing().items() if keys}
    open_ones = sum(future is not None and not future.done() for _, future in run.running)
    words = [f"{waiting + max(open_ones - len(at), 0)} waiting"]
    words += [f"{worker.partition('://')[2]} {keys[0].rpartition(' ')[0]}" for worker, keys in sorted(at.items())]
    return ", ".join(words)
