"""Pieces of a simulation: the same numbers here, in processes and on a cluster, whoever dies on the way."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from methods import InputError
from methods.prove import prove_design, prove_oil
from methods.result import as_json
from methods.workers import carry_out, cluster, pieces, processes

#: Invented: three fillings of five.
KV = np.array([51, 48, 55, 50, 47, 60, 57, 62, 58, 61, 49, 52, 46, 53, 50], dtype=float)
LABEL = np.repeat([0, 1, 2], 5)


def draw(offset: float, size: int, seed: np.random.SeedSequence) -> np.ndarray:
    return offset + np.random.default_rng(seed).normal(size=size)


def draw_and_die(folder: str, size: int, seed: np.random.SeedSequence) -> np.ndarray:
    """One worker dies over the third piece, once; every piece leaves a mark of having been worked on."""
    number = int(seed.spawn_key[0])
    fallen = Path(folder, "fallen")
    if number == 3 and not fallen.exists():
        fallen.touch()
        os._exit(1)
    Path(folder, f"{number}-{time.monotonic_ns()}").touch()
    time.sleep(0.02)
    return draw(0.0, size, seed)


def refuse(size: int, seed: Any) -> None:
    raise InputError("this piece cannot be worked on")


def test_pieces_follow_from_the_seed_alone() -> None:
    first, again = pieces(60, 7, 25), pieces(60, 7, 25)
    assert [n for n, _ in first] == [25, 25, 10]
    assert [s.generate_state(2).tolist() for _, s in first] == [s.generate_state(2).tolist() for _, s in again]
    assert pieces(60, 8, 25)[0][1].generate_state(1) != first[0][1].generate_state(1)
    with pytest.raises(InputError, match="rng"):
        pieces(60, "seven")


def test_numbers_do_not_depend_on_the_executor() -> None:
    parts = pieces(90, 3, 25)
    here = np.concatenate(carry_out(draw, (50.0,), parts))
    with ThreadPoolExecutor(3) as threads:
        assert np.array_equal(here, np.concatenate(carry_out(draw, (50.0,), parts, executor=threads)))
    for number in (1, 2):
        with processes(number) as pool:
            assert np.array_equal(here, np.concatenate(carry_out(draw, (50.0,), parts, executor=pool)))


def test_a_pool_that_breaks_loses_nothing(tmp_path: Path) -> None:
    parts = pieces(100, 3, 10)
    with processes(2) as pool:
        found = carry_out(draw_and_die, (str(tmp_path),), parts, executor=pool)
    assert (tmp_path / "fallen").exists()
    assert np.array_equal(np.concatenate(found), np.concatenate(carry_out(draw, (0.0,), parts)))


def test_what_a_piece_raises_itself_is_raised_and_progress_may_stop() -> None:
    with ThreadPoolExecutor(2) as threads, pytest.raises(InputError, match="cannot be worked on"):
        carry_out(refuse, (), pieces(50, 1), executor=threads)

    def stop(done: int, of: int) -> None:
        if done:
            raise KeyboardInterrupt

    with ThreadPoolExecutor(1) as threads, pytest.raises(KeyboardInterrupt):
        carry_out(draw, (0.0,), pieces(500, 1), executor=threads, progress=stop)


def test_proofs_are_the_same_in_processes() -> None:
    here = prove_oil(KV, fillings=LABEL, repetitions=80, rng=5)
    design = prove_design(3, 5, within_cov=0.15, between_cov=0.05, half_width=0.2, repetitions=80, rng=5)
    with processes(2) as pool:
        assert prove_oil(KV, fillings=LABEL, repetitions=80, rng=5, executor=pool) == here
        there = prove_design(
            3, 5, within_cov=0.15, between_cov=0.05, half_width=0.2, repetitions=80, rng=5, executor=pool
        )  # fmt: skip
    assert [r.held for r in there.rows] == [r.held for r in design.rows]


def test_resamples_and_proofs_of_a_shift_are_the_same_in_processes() -> None:
    from methods import percentile_shift
    from methods.shifts import prove_shift

    data = pd.DataFrame({
        "electrode": np.tile(["disk", "sphere"], 15), "filling": np.repeat(LABEL, 2).astype(str),
        "kv": np.repeat(KV, 2) + np.tile([0.0, 6.0], 15),
    })  # fmt: skip
    here = percentile_shift(data, "electrode", repetitions=300, rng=5)
    proof = prove_shift(data, "electrode", repetitions=40, rng=5)
    with processes(2) as pool:
        assert as_json(percentile_shift(data, "electrode", repetitions=300, rng=5, executor=pool)) == as_json(here)
        assert prove_shift(data, "electrode", repetitions=40, rng=5, executor=pool) == proof


@pytest.fixture(scope="module")
def local() -> Iterator[Any]:
    """A real cluster of two worker processes of this machine."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as made:  # fmt: skip
        yield made


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_gives_the_same_numbers(local: Any) -> None:
    here = prove_oil(KV, fillings=LABEL, repetitions=80, rng=5)
    with cluster(local.scheduler_address) as executor:
        assert prove_oil(KV, fillings=LABEL, repetitions=80, rng=5, executor=executor) == here


@pytest.mark.filterwarnings("ignore")
def test_a_worker_killed_in_mid_run_loses_nothing_and_counts_nothing_twice(local: Any, tmp_path: Path) -> None:
    parts = pieces(400, 3, 10)
    with cluster(local.scheduler_address) as executor:
        first = next(iter(local.workers.values()))
        victim = executor.submit(os.getpid).result()
        killer = threading.Timer(0.2, os.kill, (victim, 9))
        killer.start()
        found = carry_out(draw_and_die, (str(tmp_path),), parts, executor=executor)
        killer.join()
    assert first is not None and (tmp_path / "fallen").exists()
    assert len(found) == len(parts)
    assert np.array_equal(np.concatenate(found), np.concatenate(carry_out(draw, (0.0,), parts)))


@pytest.mark.filterwarnings("ignore")
def test_rounds_and_calibration_on_a_cluster(local: Any, tmp_path: Path) -> None:
    from methods.records.rounds import open_rounds, summarise_rounds
    from tests.calibration.running import each

    for i in range(4):
        pd.DataFrame({"sample": np.tile(["A", "B", "C"], 5), "filling": LABEL, "kv": KV + i}).to_parquet(
            tmp_path / f"{i}.parquet"
        )
    rounds = open_rounds(tmp_path)
    here = summarise_rounds(rounds, by=["sample"])
    with cluster(local.scheduler_address) as executor:
        there = summarise_rounds(rounds, by=["sample"], executor=executor)
        assert each(str.upper, ["one", "two"], executor) == ["ONE", "TWO"]
    pd.testing.assert_frame_equal(there.groups[here.groups.columns], here.groups, rtol=1e-12)


def test_a_scheduler_that_is_not_there_is_one_line() -> None:
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="No Dask scheduler answers"), cluster("tcp://127.0.0.1:9"):
        raise AssertionError("nothing answers there")
