"""Shots judged by real scheduler and worker processes on loopback: as on one machine, whoever dies."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from distributed import Client

from app.run import cluster
from app.run.batch import inspect_batch
from app.run.cluster import Cluster, inspect_on, read_cluster
from app.run.session import run
from app.run.shot import Work
from tests.loopback import free_port
from tests.run.made import DeadlyWork, by_no_clock, make_shots, make_work
from vision.errors import Unusable

# Reached only when something is broken: a busy machine may take long to start a process.
SOON_S = 120.0
TRAYS = tuple(f"T-{k:02}" for k in range(12))


class Engine:
    """A scheduler and its workers, of this test alone."""

    def __init__(self, folder: Path) -> None:
        port = free_port()
        self.folder = folder
        self.address = f"tcp://127.0.0.1:{port}"
        # One death of a worker is enough for the scheduler to give a shot up; the tests need not wait for four.
        limits = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"}
        self.processes: list[subprocess.Popen[bytes]] = []
        self.scheduler = self._start(
            ["scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"], limits
        )

    def add_worker(self) -> subprocess.Popen[bytes]:
        plain = ["--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", str(self.folder)]
        return self._start(["worker", self.address, *plain], {})

    def _start(self, words: Sequence[str], more: dict[str, str]) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{words[0]}", *words[1:]]
        environment = {**os.environ, **more, "PYTHONPATH": str(Path(__file__).parents[2])}
        process = subprocess.Popen(command, stderr=subprocess.DEVNULL, cwd=self.folder, env=environment)
        self.processes.append(process)
        return process

    def wait_for(self, workers: int) -> None:
        with Client(self.address, timeout=SOON_S, set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=SOON_S)

    def close(self) -> None:
        for process in self.processes:
            process.kill()
            process.wait()


@pytest.fixture
def engine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Engine]:
    monkeypatch.setattr(cluster, "_CONNECT_S", SOON_S)
    one = Engine(tmp_path)
    yield one
    one.close()


def written(out: Path) -> dict[str, bytes]:
    """What a run wrote, without the times of judging."""
    files = [file for file in sorted(out.rglob("*")) if file.is_file()]
    return {str(one.relative_to(out)): re.sub(rb'"judged_at": "[^"]*"', b"", one.read_bytes()) for one in files}


def elsewhere(work: Work, out: Path) -> Work:
    out.mkdir()
    return Work(work.part, work.station, work.limits, out, work.pictures)


def test_a_worker_killed_in_the_middle_costs_only_a_retry(tmp_path: Path, engine: Engine) -> None:
    doomed, _ = engine.add_worker(), engine.add_worker()
    work, shots = make_work(tmp_path), make_shots(tmp_path, *TRAYS)
    (shots[3] / "back.png").write_bytes(b"")
    engine.wait_for(2)
    here = elsewhere(work, tmp_path / "here")
    said: list[str] = []
    ended: list[int] = []

    def seen(number: int, words: str) -> None:
        ended.append(number)
        said.append(words)
        if sum(ended) == 4:
            doomed.send_signal(signal.SIGKILL)

    there = run(shots, work, Cluster(engine.address), seen)
    local = run(shots, here, 1, lambda *_: None)
    assert replace(there, folders=[]) == replace(local, folders=[])
    assert sum(ended) == len(shots)
    assert written(work.out) == written(here.out)
    shown = {name for name in written(work.out) if "/shot-" not in name}
    assert {f"{tray}/result.json" for tray in TRAYS if tray != "T-03"} | {"pieces.csv"} == shown


@pytest.mark.long
def test_a_shot_that_kills_its_workers_is_set_aside_and_named(tmp_path: Path, engine: Engine) -> None:
    for _ in range(3):  # two of them die
        engine.add_worker()
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2")
    engine.wait_for(3)
    deadly = DeadlyWork(work.part, work.station, work.limits, work.out, False, deaths=2)
    outcomes = list(inspect_on(Cluster(engine.address), shots[:1], deadly, lambda _: None))
    (line,) = outcomes[0].failures
    assert str(shots[0]) in line
    assert "set aside" in line
    there = inspect_on(Cluster(engine.address), shots[1:], work, lambda _: None)
    assert by_no_clock(there) == by_no_clock(inspect_batch(shots[1:], work))


@pytest.mark.long
def test_a_scheduler_that_dies_ends_the_run_with_what_was_judged(tmp_path: Path, engine: Engine) -> None:
    engine.add_worker()
    work, shots = make_work(tmp_path), make_shots(tmp_path, *(f"T-{k:03}" for k in range(40)))
    engine.wait_for(1)
    outcomes = []
    for outcome in inspect_on(Cluster(engine.address), shots, work, lambda _: None):
        outcomes.append(outcome)
        if len(outcomes) == 2:
            engine.scheduler.kill()
    assert outcomes[0].result is not None
    assert outcomes[1].result is not None
    (line,) = outcomes[-1].failures
    assert "the scheduler is gone" in line
    assert f"{len(shots) - len(outcomes) + 1} trays not judged" in line


def test_no_worker_is_told_and_one_of_another_version_refused(
    tmp_path: Path, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "NO_WORKER_S", 0.6)
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2")
    said: list[str] = []
    (outcome,) = inspect_on(Cluster(engine.address), shots, work, said.append)
    assert "no worker" in outcome.failures[0]
    assert "2 trays not judged" in outcome.failures[0]
    assert said[0] == "2 waiting"
    engine.add_worker()
    engine.wait_for(1)
    monkeypatch.setattr(cluster, "_versions", lambda: {"brightbowl": "9.9"})
    with pytest.raises(Unusable, match=r"worker tcp://127.0.0.1:\d+: brightbowl: 9.9 expected"):
        list(inspect_on(Cluster(engine.address), shots, work, lambda _: None))
    assert list(work.out.iterdir()) == []


def test_a_scheduler_that_can_not_be_reached_is_told_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "_CONNECT_S", 0.5)
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1")
    with pytest.raises(Unusable, match=r"tcp://127\.0\.0\.1:9: a scheduler that answers"):
        list(inspect_on(Cluster("tcp://127.0.0.1:9"), shots, work, lambda _: None))


@pytest.mark.parametrize(
    ("address", "tls", "said"),
    [
        ("line:8786", None, "tcp://HOST:PORT"),
        ("tcp://line", None, "tcp://HOST:PORT"),
        ("tls://line:8786", None, "goes with tls://"),
        ("tls://line:8786", Path("certificates"), "ca.pem"),
    ],
)
def test_addresses_that_are_none(address: str, tls: Path | None, said: str) -> None:
    with pytest.raises(Unusable, match=said):
        read_cluster(address, tls, plain=False)


def test_a_scheduler_without_tls_is_refused_unless_somebody_says_that_it_will_do() -> None:
    with pytest.raises(Unusable, match="--plain"):
        read_cluster("tcp://line:8786", None, plain=False)
    assert read_cluster("tcp://line:8786", None, plain=True).tls is None
