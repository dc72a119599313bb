"""The store: what goes in comes out, and nothing half-written is ever taken for a result."""

from __future__ import annotations

import logging
import os
import tempfile
import time
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from scenarios.store import CaseResult, Store, StoreError
from sim.errors import InputError
from tests.campaign_fakes import make_case, result_of

DTYPES = st.sampled_from([np.float64, np.float32, np.int64, np.bool_, "<U5"])
ARRAYS = DTYPES.flatmap(lambda dtype: hnp.arrays(dtype, hnp.array_shapes(min_dims=0, max_dims=3, min_side=0)))
RESULTS = st.dictionaries(st.sampled_from(["a", "b", "c.d", "é"]), ARRAYS, max_size=4)


def is_same(left: CaseResult, right: CaseResult) -> bool:
    return left.keys() == right.keys() and all(
        left[name].dtype == right[name].dtype
        and left[name].shape == right[name].shape
        and left[name].tobytes() == right[name].tobytes()
        for name in left
    )


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.dictionaries(st.sampled_from(["k1", "k2", "k3"]), RESULTS, min_size=1))
def test_any_batch_comes_back_to_the_bit(tmp_path_factory, batch) -> None:
    store = Store(tmp_path_factory.mktemp("store"), "v")
    store.write(batch)
    found = Store(store.root, "v").load(batch)
    assert found.keys() == batch.keys()
    assert all(is_same(found[key], batch[key]) for key in batch)


def test_only_what_is_asked_for_is_returned(tmp_path: Path) -> None:
    store = Store(tmp_path, "v")
    store.write({"a": {"x": np.arange(3)}, "b": {"x": np.arange(2)}})
    assert store.load(["b", "not there"]).keys() == {"b"}
    assert store.keys() == {"a", "b"}


@pytest.mark.parametrize("number", [1, 50])
def test_what_is_loaded_takes_its_own_memory_and_not_its_neighbours(tmp_path: Path, number: int) -> None:
    """The batch that a few results come from is let go, and no second copy of a whole one is kept."""
    result = {"x": np.arange(10_000.0), "status": np.array(0)}
    Store(tmp_path, "v").write({str(n): result for n in range(50)})
    store = Store(tmp_path, "v")
    store.keys()
    tracemalloc.start()
    try:
        found = store.load(str(n) for n in range(number))
        held = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    assert len(found) == number
    assert held < 1.1 * number * result["x"].nbytes + 20_000


def test_a_truncated_file_is_set_aside_with_a_warning_and_its_cases_are_missing(
    tmp_path: Path, caplog
) -> None:
    store = Store(tmp_path, "v")
    path = store.write({"a": {"x": np.arange(3000)}})
    kept = store.write({"b": {"x": np.arange(3)}})
    path.write_bytes(path.read_bytes()[:-700])
    with caplog.at_level(logging.WARNING):
        assert Store(tmp_path, "v").load(["a", "b"]).keys() == {"b"}
    assert "set aside" in caplog.text
    assert sorted(store.folder.glob("*.npz")) == [kept]


def test_a_file_with_one_flipped_bit_is_not_taken_for_a_result(tmp_path: Path, caplog) -> None:
    store = Store(tmp_path, "v")
    path = store.write({"a": {"x": np.arange(3000)}})
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(bytes(content))
    assert Store(tmp_path, "v").load(["a"]) == {}
    assert "set aside" in caplog.text


def test_a_foreign_file_is_set_aside_with_a_warning(tmp_path: Path, caplog) -> None:
    store = Store(tmp_path, "v")
    (store.folder / "holiday.npz").write_text("not a batch")
    np.savez(store.folder / "other.npz", index=np.arange(4))
    assert store.load(["a"]) == {}
    assert caplog.text.count("set aside") == 2
    assert list(store.folder.glob("*.npz")) == []


def test_a_half_written_file_is_never_read(tmp_path: Path, monkeypatch) -> None:
    store = Store(tmp_path, "v")

    def full(*args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(StoreError, match="No space left on device"):
        store.write({"a": {"x": np.arange(3)}})
    assert list(store.folder.iterdir()) == []


def test_another_code_version_is_kept_apart(tmp_path: Path) -> None:
    Store(tmp_path, "old").write({"a": {"x": np.arange(3)}})
    new = Store(tmp_path, "new")
    assert new.load(["a"]) == {}
    assert new.others() == ["old"]


def test_what_is_forgotten_is_gone_with_what_was_made_from_it_and_nothing_else(tmp_path: Path) -> None:
    store = Store(tmp_path, "v")
    store.write({key: {"x": np.arange(n)} for n, key in enumerate("abc")}, {"b": "the second"})
    store.write(
        {"look": {"x": np.arange(9)}, "other": {"x": np.arange(8)}}, None, {"look": "a", "other": "b"}
    )
    store.write({"d": {"x": np.arange(4)}})
    assert store.forget(["a", "d", "never there"]) == 3
    again = Store(tmp_path, "v")
    assert again.keys() == {"b", "c", "other"}
    assert again.load(["b", "other"])["b"]["x"].tolist() == [0]
    told = {case["key"]: case for index in again.indexes().values() for case in index["cases"]}
    assert told["b"]["title"] == "the second"
    assert told["other"]["of"] == "b"


def test_a_file_that_is_rewritten_while_the_store_is_read_costs_no_result(
    tmp_path: Path, monkeypatch
) -> None:
    store, other = Store(tmp_path, "v"), Store(tmp_path, "v")
    store.write({"a": {"x": np.arange(3)}, "b": {"x": np.arange(2)}})
    store.indexes()
    look = Store.indexes

    def after_the_other(self: Store):
        monkeypatch.setattr(Store, "indexes", look)
        found = dict(look(self))
        other.forget(["b"])
        return found

    monkeypatch.setattr(Store, "indexes", after_the_other)
    assert store.load(["a"]).keys() == {"a"}


def test_a_reader_needs_no_folder_and_touches_nothing(tmp_path: Path, caplog) -> None:
    assert Store(tmp_path / "nowhere", "v", is_reader=True).load(["a"]) == {}
    assert not (tmp_path / "nowhere").exists()
    Store(tmp_path, "v").write({"a": {"x": np.arange(3)}})
    strange = tmp_path / "v" / "holiday.npz"
    strange.write_text("not a batch")
    reader = Store(tmp_path, "v", is_reader=True)
    assert reader.load(["a"]).keys() == {"a"}
    assert reader.keys() == {"a"}
    assert strange.exists()
    assert caplog.text.count("left out") == 1


@contextmanager
def as_nobody() -> Iterator[None]:
    """Who runs the tests as root may write everywhere; for a moment this process may not."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_a_store_on_a_path_that_cannot_be_written_is_the_users_input_and_can_be_read() -> None:
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        Store(root, "v").write({"a": {"x": np.arange(3)}})
        for folder in (root, root / "v"):
            folder.chmod(0o555)
        with as_nobody():
            with pytest.raises(InputError, match=r"store cannot be written .*--store DIR"):
                Store(root, "v")
            with pytest.raises(InputError, match="store cannot be written"):
                Store(root, "another")
            assert Store(root, "v", is_reader=True).load(["a"]).keys() == {"a"}
        for folder in (root, root / "v"):
            folder.chmod(0o755)


def test_a_store_that_cannot_be_made_is_the_users_input(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="store cannot be written"):
        Store(tmp_path / "file" / "store", "v")


def test_objects_are_refused(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="holds objects"):
        Store(tmp_path, "v").write({"a": {"x": np.array([None])}})


def test_four_hundred_results_of_ten_minutes_read_within_a_second(tmp_path: Path) -> None:
    """Common practice, no source: 330 passes of 12 columns and 8 channels of 2500 turning points a case."""
    store = Store(tmp_path, "v")
    one = {f"passes.{name}": np.zeros(330) for name in "abcdefghijkl"}
    one |= {f"turning.{name}": np.zeros(2500) for name in "abcdefgh"} | {
        f"cases.{n}": np.zeros(3) for n in "abcdefgh"
    }
    for batch in range(5):
        store.write({f"{batch}-{number}": one for number in range(80)})
    began = time.perf_counter()
    found = Store(tmp_path, "v").load([f"{batch}-{number}" for batch in range(5) for number in range(80)])
    assert len(found) == 400
    assert time.perf_counter() - began < 1.0


def test_a_case_result_survives_with_its_text_and_scalars(tmp_path: Path) -> None:
    case = make_case(3)
    Store(tmp_path, "v").write({case.key: result_of(case)}, {case.key: case.title})
    assert is_same(dict(Store(tmp_path, "v").load([case.key])[case.key]), result_of(case))
    (index,) = Store(tmp_path, "v").indexes().values()
    assert index["cases"] == [{"key": case.key, "title": "power: 1.3, 11 m/s, seed 3"}]
