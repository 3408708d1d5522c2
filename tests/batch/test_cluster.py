"""A batch on workers of a scheduler: the same files as without."""

from __future__ import annotations

import sys
from math import inf
from types import SimpleNamespace

import pytest

import frontglass
from frontglass.batch import cluster
from frontglass.batch.manifest import MANIFEST_NAME, Manifest, Standing, recipe_digest
from frontglass.batch.run import planned_batch
from frontglass.batch.work import Made, done
from frontglass.errors import FrontglassError, ParameterError
from tests.batch.test_dying import of


def tasks_of(batch):
    return batch._tasks(1, None)


def test_a_worker_of_another_mind_makes_nothing(shoot, tmp_path):
    batch = planned_batch([shoot("in/a.png")], tmp_path / "out", of("slate-roof"))
    (task,) = tasks_of(batch)
    digests = (recipe_digest(batch.recipe_of(batch.jobs[0])),)
    version, here = frontglass.__version__, str(tmp_path)
    for given, said in (
        (("0.0", digests, here), "its worker has frontglass"),
        ((version, ("other",), here), "reads the look otherwise"),
        ((version, digests, str(tmp_path / "gone")), "has no folder"),
    ):
        ((_, result),) = cluster.done_there(task, cluster.Sender(*given))
        assert said in str(result)
    assert not (tmp_path / "out").exists()


def test_an_address_that_is_none_and_a_missing_package_are_told(shoot, tmp_path, monkeypatch):
    batch = planned_batch([shoot("in/a.png")], tmp_path / "out", of("slate-roof"))
    with pytest.raises(ParameterError, match="jobs must be left out beside a cluster"):
        list(batch.run(processes=1, cluster="local:1"))
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(FrontglassError, match=r"pip install 'frontglass\[cluster\]'"):
        list(batch.run(cluster="local:1"))


def test_an_address_has_a_port_or_a_protocol(monkeypatch):
    monkeypatch.setattr(cluster, "_distributed", lambda: None)
    for address in ("render:8786", "tcp://render"):
        with cluster._scheduler(address) as given:
            assert given == (address, None)
    wrong = pytest.raises(ParameterError, match="such as tcp://render:8786, got 'render'")
    with wrong, cluster._scheduler("render"):
        pass


def test_why_no_scheduler_answers_is_said_in_one_line(monkeypatch):
    def client(*_, **__):
        raise OSError("refused\nby port 8786")

    monkeypatch.setattr(cluster, "_distributed", lambda: SimpleNamespace(Client=client))
    said = pytest.raises(FrontglassError, match=r"^tcp://render: no .* there \(refused\)\.$")
    with said, cluster._connected("tcp://render", 1):
        pass


def test_what_a_worker_made_before_it_died_is_made_sure_of(shoot, tmp_path):
    batch = planned_batch([shoot("in/a.png")], tmp_path / "out", of("slate-roof"))
    (job,), (task,) = batch.jobs, tasks_of(batch)
    (tmp_path / "out").mkdir()
    manifest = Manifest(tmp_path / "out" / MANIFEST_NAME)
    manifest.plan([job], batch.recipe_of)
    gone = manifest.record(job, batch.recipe_of(job), Made(None, ""))
    assert str(gone) == f"{job.out}: was made, and is gone; make it again."
    done(task)
    manifest.record(job, batch.recipe_of(job), FrontglassError("its worker was ended"))
    assert manifest.standing(job, batch.recipe_of(job)) is Standing.UNSURE
    again = planned_batch([tmp_path / "in"], tmp_path / "out", of("slate-roof"))
    assert [outcome.state for outcome in again.run(processes=1, patience_s=inf)] == ["rendered"]
    job.out.write_bytes(b"retouched")
    manifest.record(job, batch.recipe_of(job), FrontglassError("its worker was ended"))
    again = planned_batch([tmp_path / "in"], tmp_path / "out", of("slate-roof"))
    (outcome,) = again.run(processes=1, patience_s=inf)
    assert outcome.state != "rendered"
    assert job.out.read_bytes() == b"retouched"


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_workers_of_a_scheduler_make_the_same_files(shoot, tmp_path):
    pytest.importorskip("distributed")
    shoot("in/a.png"), shoot("in/b.png", seed=2)
    made = {}
    for name, how in (("one", {"processes": 1}), ("many", {"cluster": "local:1"})):
        batch = planned_batch([tmp_path / "in"], tmp_path / name, of("slate-roof"))
        assert [outcome.state for outcome in batch.run(**how)] == ["rendered"] * 2
        made[name] = [path.read_bytes() for path in sorted((tmp_path / name).glob("*.png"))]
    assert made["one"] == made["many"]
    assert len(made["one"]) == 2
