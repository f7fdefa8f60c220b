"""Files are old or new, never mixed, and every failure is one sentence."""

from __future__ import annotations

import errno
import os
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waveflow.study import writing
from waveflow.study.writing import StoreError, parts_of, safe_path, sweep_orphans, write_atomic, write_part


class FailingCalls:
    """Stands in for the ``os`` module of one file: its N-th call of a disk function fails with the given number."""

    WATCHED = ("open", "write", "fsync", "replace", "makedirs", "unlink", "listdir", "close")

    def __init__(self, fail_at: int, number: int) -> None:
        self.fail_at, self.number, self.calls = fail_at, number, 0

    def __getattr__(self, name):
        real = getattr(os, name)
        if name not in self.WATCHED:
            return real

        def call(*args, **kwargs):
            self.calls += 1
            if self.calls == self.fail_at:
                if name == "close":
                    real(*args, **kwargs)
                raise OSError(self.number, os.strerror(self.number))
            return real(*args, **kwargs)

        return call


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EACCES, errno.EMFILE])
def test_each_failing_call_leaves_old_or_new(tmp_path, monkeypatch, number):
    target = tmp_path / "file.txt"
    for fail_at in range(1, 40):
        target.write_text("old")
        calls = FailingCalls(fail_at, number)
        monkeypatch.setattr(writing, "os", calls)
        try:
            write_atomic(target, "new")
            failed = False
        except StoreError as error:
            failed = True
            assert "\n" not in str(error) and "[Errno" not in str(error)
        finally:
            monkeypatch.setattr(writing, "os", os)
        assert target.read_text() in (("old", "new") if failed else ("new",))
        if calls.calls < fail_at:
            assert not failed
            assert fail_at > 4  # open, write, fsync, close and replace were really met
            break
    else:
        pytest.fail("the run never came through clean")


def test_full_disk_is_said_in_words(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "os", FailingCalls(2, errno.ENOSPC))
    with pytest.raises(StoreError, match="file.txt: cannot be written: the disk is full"):
        write_atomic(tmp_path / "file.txt", "x")
    assert os.listdir(tmp_path) == []


def test_short_writes_are_continued(tmp_path, monkeypatch):
    real = os.write
    monkeypatch.setattr(writing.os, "write", lambda handle, data: real(handle, bytes(data)[:3]))
    write_atomic(tmp_path / "file.txt", "0123456789")
    assert (tmp_path / "file.txt").read_text() == "0123456789"


def test_text_is_written_as_it_is(tmp_path):
    write_atomic(tmp_path / "a", "Einlaß\r\n\n")
    assert (tmp_path / "a").read_bytes() == "Einlaß\r\n\n".encode()


def test_orphans_of_dead_writers_are_removed_and_others_kept(tmp_path):
    script = (
        "import os, sys; from waveflow.study.writing import write_part;"
        "write_part(sys.argv[1], b'half'); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", script, str(tmp_path / "result.json")], check=False)
    mine = write_part(tmp_path / "result.json", b"being written now")
    assert len(parts_of(tmp_path, "result.json")) == 2
    (tmp_path / ".somebody.part").write_text("not ours")
    removed = sweep_orphans(tmp_path)
    assert len(removed) == 1 and removed[0] != mine
    assert mine.exists() and (tmp_path / ".somebody.part").exists()
    assert sweep_orphans(tmp_path / "not there") == []


@pytest.mark.parametrize("name", ["", ".", "..", "../x", "a/../../x", "/etc/passwd", "a\x00b", "a\nb", "\x7f"])
def test_names_that_lead_out_are_refused(tmp_path, name):
    with pytest.raises(StoreError):
        safe_path(tmp_path / "root", name)


def test_neighbour_with_the_same_beginning_is_outside(tmp_path):
    (tmp_path / "root").mkdir()
    (tmp_path / "root-two").mkdir()
    with pytest.raises(StoreError, match="leads out"):
        safe_path(tmp_path / "root", "../root-two/x")


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    root = tmp_path / "root"
    root.mkdir()
    try:
        (root / "out").symlink_to(tmp_path)
    except OSError:
        pytest.skip("no links on this file system")
    with pytest.raises(StoreError, match="leads out"):
        safe_path(root, "out/x")


@given(name=st.text(max_size=30))
def test_a_safe_path_is_always_inside(tmp_path_factory, name):
    root = tmp_path_factory.getbasetemp() / "inside"
    root.mkdir(exist_ok=True)
    try:
        path = safe_path(root, name)
    except (StoreError, ValueError) as error:
        assert isinstance(error, StoreError)
        return
    assert path.is_relative_to(root.resolve()) and path != root.resolve()


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write anywhere")
def test_read_only_folder_is_said_in_words(tmp_path):
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o555)
    with pytest.raises(StoreError, match="permission denied"):
        write_atomic(folder / "x", "y")


def test_a_file_where_a_folder_should_be(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="file/x: cannot be written: a part of the path is a file, not a folder"):
        write_atomic(tmp_path / "file" / "x", "y")
