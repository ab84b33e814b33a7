"""Islands on a real cluster: scheduler and workers as processes of their own."""

import os
import re
import signal
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest

from optimiser import executors
from optimiser.cli import main
from optimiser.executors import CrewLostError
from optimiser.run import Hands, resume_run, run_spec
from optimiser.store import open_run
from tests.search.courses import ROOT, assert_same_course, held_by, spec_with

pytest.importorskip("distributed", reason="Dask is not installed: pip install '.[dev]'")

BUDGET = 1_500
ENVIRONMENT = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "ignore"}


def program(module, *words, **environment):
    """A program of the cluster, with what it says kept for whoever asks."""
    command = [sys.executable, "-m", f"distributed.cli.{module}", *map(str, words)]
    return subprocess.Popen(
        command,
        stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        text=True,
        cwd=ROOT,
        env=ENVIRONMENT | environment,
    )


def worker(address, **environment):
    words = ("--nthreads", "1", "--no-nanny", "--no-dashboard")
    return program("dask_worker", address, *words, **environment)


@contextmanager
def scheduler():
    process = program(
        "dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"
    )
    try:
        for line in process.stderr:
            found = re.search(r"Scheduler at:\s+(tcp://[\d.:]+)", line)
            if found:
                break
        yield process, found.group(1)
    finally:
        process.kill()
        process.communicate()


@pytest.fixture(scope="module")
def cluster():
    """Address of a scheduler, and its workers, of which there are two at first."""
    with scheduler() as (_process, address):
        workers = [worker(address), worker(address)]
        try:
            yield address, workers
        finally:
            for process in workers:
                process.kill()
                process.communicate()


@pytest.fixture(autouse=True)
def _no_front(monkeypatch):
    """Fronts follow from what is compared, and take longer than these runs."""
    monkeypatch.setattr("optimiser.run.write_front", lambda *_: None)


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    folder = tmp_path_factory.mktemp("spec")
    return spec_with(folder, population=80, islands=3, exchange=200)


def wait_for_workers(address, n):
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(n, timeout=60)
        deadline = time.monotonic() + 60
        while len(client.nthreads()) != n:
            assert time.monotonic() < deadline
            time.sleep(0.1)


def test_a_worker_killed_in_the_middle_makes_no_difference(
    spec, cluster, tmp_path, monkeypatch
):
    address, workers = cluster
    wait_for_workers(address, 2)
    monkeypatch.setattr("optimiser.watch._TELL_EVERY", 0.0)
    monkeypatch.setattr("optimiser.executors._Cluster.stint", 0.1)
    killed = []

    def listen(standing):
        if standing.progress.evaluations > 400 and not killed:
            workers[0].send_signal(signal.SIGKILL)
            killed.append(standing.progress.evaluations)

    hands = Hands(cluster=address)
    run = run_spec(
        spec, out=tmp_path / "far", evaluations=BUDGET, hands=hands, listener=listen
    )
    assert killed
    assert workers[0].wait(timeout=20) == -signal.SIGKILL
    assert run.state == "done"
    near = Hands(workers=1)
    whole = run_spec(spec, out=tmp_path / "near", evaluations=BUDGET, hands=near)
    assert_same_course(run, whole)
    # and on from there, by whoever is at hand
    wait_for_workers(address, 1)
    far = resume_run(whole.folder, evaluations=BUDGET + 450, hands=hands)
    near_again = resume_run(run.folder, evaluations=BUDGET + 450, hands=near)
    assert_same_course(far, near_again)


@pytest.mark.slow
def test_a_cluster_that_ends_leaves_what_it_found(spec, tmp_path, monkeypatch):
    monkeypatch.setattr("optimiser.executors._RETURN", 1.0)
    monkeypatch.setattr("optimiser.executors._Cluster.stint", 0.2)
    ended = []
    with scheduler() as (process, address):
        helper = worker(address)
        try:
            wait_for_workers(address, 1)

            def listen(standing):
                if standing.progress.evaluations > 500 and not ended:
                    process.kill()
                    ended.append(standing.progress.evaluations)

            hands = Hands(cluster=address)
            out = tmp_path / "run"
            run = run_spec(
                spec, out=out, evaluations=10**7, hands=hands, listener=listen
            )
        finally:
            helper.kill()
            helper.communicate()
    assert run.state == "interrupted"
    assert f"the cluster at {address} no longer answers" in run.about["stopped_by"]
    assert held_by(out)[0].evaluations >= ended[0]
    near = resume_run(out, evaluations=BUDGET, hands=Hands(workers=1))
    whole = run_spec(
        spec, out=tmp_path / "w", evaluations=BUDGET, hands=Hands(workers=1)
    )
    assert_same_course(near, whole)


def test_no_cluster_is_told_before_anything_is_made(
    spec, tmp_path, capsys, monkeypatch
):
    monkeypatch.setattr("optimiser.executors._ANSWER", 0.5)
    out = tmp_path / "run"
    for address in ("tcp://127.0.0.1:9", "nonsense", "tcp://nowhere"):
        words = ["search", str(spec), "--out", str(out), "--cluster", address]
        assert main(words) == 2
        said = capsys.readouterr().err
        assert f"--cluster {address}" in said
        assert "no cluster answers there" in said
        assert "Traceback" not in said
        assert not out.exists()


def test_a_cluster_without_workers_is_told(spec, tmp_path, capsys):
    with scheduler() as (_process, address):
        out = tmp_path / "run"
        words = ["search", str(spec), "--out", str(out), "--cluster", address]
        assert main(words) == 2
        assert "the cluster has no workers" in capsys.readouterr().err
        assert not out.exists()


def test_workers_with_another_program_are_refused(
    spec, cluster, tmp_path, capsys, monkeypatch
):
    address, _workers = cluster

    def other():
        return {"the program": str(os.getpid())}

    monkeypatch.setattr("optimiser.run.footing", other)
    words = ["search", str(spec), "--out", str(tmp_path / "r"), "--cluster", address]
    assert main(words) == 2
    assert "Install the same" in capsys.readouterr().err
    assert not (tmp_path / "r").exists()


def footing_of_environment():
    return {"the program": os.environ.get("PROGRAM_OF_TEST", "one")}


def doubled(x):
    time.sleep(0.02)
    return 2 * x


def results_of(crew, n):
    for key in range(n):
        crew.submit(key, doubled, key)
    found = {}
    deadline = time.monotonic() + 60
    while len(found) < n:
        assert time.monotonic() < deadline
        found |= dict(crew.finished())
    return found


def test_a_worker_that_joins_later_with_another_program_does_nothing():
    """The rest goes on without it; with nobody else left the search says so."""
    with scheduler() as (_process, address):
        helpers = [worker(address)]
        try:
            wait_for_workers(address, 1)
            with executors.cluster(address, footing_of_environment, int) as crew:
                helpers.append(worker(address, PROGRAM_OF_TEST="two"))
                wait_for_workers(address, 2)
                assert results_of(crew, 20) == {key: 2 * key for key in range(20)}
                assert results_of(crew, 20) == {key: 2 * key for key in range(20)}
                helpers[0].kill()
                wait_for_workers(address, 1)
                with pytest.raises(CrewLostError, match="joined it later"):
                    results_of(crew, 5)
        finally:
            for process in helpers:
                process.kill()
                process.communicate()


@pytest.mark.slow
def test_the_command_line_searches_on_a_cluster(spec, cluster, tmp_path):
    address, _workers = cluster
    out = tmp_path / "run"
    words = [sys.executable, "-m", "optimiser.cli", "search", str(spec), "--out", out]
    words += ["--cluster", address, "--evaluations", "3000"]
    done = subprocess.run(
        list(map(str, words)),
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=ENVIRONMENT,
        check=False,
        timeout=100,
    )
    assert done.returncode in {0, 1}, done.stderr
    assert "Traceback" not in done.stderr
    assert open_run(out).state == "done"
