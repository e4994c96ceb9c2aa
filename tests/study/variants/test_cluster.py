"""Variants on a Dask cluster of this machine: the same numbers, nothing lost with a worker."""

import bars
import pytest

from fem.errors import InputError
from fem.study.file import read_study
from fem.study.variants.cluster import open_cluster, worker_on
from fem.study.variants.expand import expand
from fem.study.variants.series import answer_series
from fem.study.variants.store import VariantStore

TEXT = bars.PULLED + '[sweep]\n"bodies.bar.print.walls" = [0, 1, 2, 3]\n'


def test_a_killed_worker_loses_nothing(own):
    from distributed import Client, LocalCluster

    variants = expand(read_study(bars.study(own, TEXT)))
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as made,
        Client(made) as client,
    ):
        worker = worker_on(client, work=bars.dies_once)
        found = answer_series(variants, store=VariantStore(own / "cluster"), worker=worker)
    assert (own / "bar.killed").exists(), "a worker was killed while it had a variant in hand"
    alone = answer_series(variants, store=VariantStore(own / "alone"), jobs=1)
    assert [a.error for a in found] == [""] * 4
    # A worker has one thread, this process all cores: the order of additions differs, the answer only by rounding
    told, expected = numbers(found), numbers(alone)
    assert told == [pytest.approx(each, rel=1e-9) for each in expected]
    assert len({round(displacement, 6) for displacement, *_ in told}) == 4, "each variant has its own answer"


def numbers(answers):
    cases = [each.findings.cases["pulled"] for each in answers]
    return [
        (case.maximum_displacement_mm, case.strain_energy_mJ, case.reserve.minimum, case.applied_N[2])
        for case in cases
    ]


def test_nobody_at_the_address(monkeypatch):
    from fem.study.variants import cluster

    monkeypatch.setattr(cluster, "PATIENCE", 1)
    with (
        pytest.raises(InputError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:1"),
        open_cluster("tcp://127.0.0.1:1"),
    ):
        pass


def test_without_dask_the_way_out_is_named(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r'pip install "beadwork\[cluster\]"'), open_cluster("local"):
        pass
