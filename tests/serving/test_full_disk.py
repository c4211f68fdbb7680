"""A full disk, and the folders that servers leave behind when they are killed."""

import errno
import os
import shutil
import subprocess
import sys
from collections import namedtuple

import pytest
import requests

from piezolab.serving import full_disk, own_folder
from piezolab.serving.error_pages import NoSpace
from piezolab.serving.full_disk import Space, disk_is_full
from piezolab.serving.start_problems import ServingError
from tests.serving.live import LiveServer

Usage = namedtuple("Usage", "total used free")


def test_whoever_runs_it_reads_one_line_until_there_is_space_again(monkeypatch, tmp_path):
    free, lines = [0], []
    monkeypatch.setattr(full_disk.shutil, "disk_usage", lambda _: Usage(10, 10, free[0]))
    space = Space(lines.append)
    for _ in range(50):
        with pytest.raises(NoSpace):
            space.need(tmp_path)
    assert len(lines) == 1 and str(tmp_path) in lines[0]
    free[0] = full_disk.NEEDED
    space.need(tmp_path)
    free[0] -= 1
    with pytest.raises(NoSpace):
        space.need(tmp_path)
    assert len(lines) == 2


def test_only_a_full_disk_is_one():
    assert disk_is_full(OSError(errno.ENOSPC, "")) and not disk_is_full(OSError(errno.EACCES, ""))


def test_a_page_that_the_disk_has_no_room_for_is_refused_with_a_sentence(small_notebooks):
    server = LiveServer(small_notebooks, patience={"needed_bytes": 2**62})
    try:
        for _ in range(5):
            page = requests.get(server.url + "is-it-empty", timeout=60)
            assert page.status_code == 503 and page.headers["Retry-After"] == "10"
            assert NoSpace.sentence in page.text and "seats" not in page.text
        assert requests.get(server.url + "nowhere", timeout=60).status_code == 404
        assert server.kernels() == []
        server.wait_for("The disk with .* is full", 20)
        assert server.output.count("is full") == 1 and "Traceback" not in server.output
    finally:
        assert server.stop() == 0


@pytest.mark.skipif(own_folder.fcntl is None, reason="no such locks on this system")
def test_only_folders_of_servers_that_are_gone_are_removed(tmp_path):
    code = f"""
import os, pathlib
from piezolab.serving.own_folder import own_folder
with own_folder(pathlib.Path({str(tmp_path)!r})) as folder:
    (folder / "kernel.json").write_text("x")
    os._exit(0)
"""
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
    [dead] = tmp_path.iterdir()
    assert (dead / "kernel.json").exists()
    strange, outside = tmp_path / "pz-strange", tmp_path / "outside"
    strange.mkdir()
    shutil.copytree(dead, outside)
    (tmp_path / "pz-link").symlink_to(outside)
    with own_folder.own_folder(tmp_path) as one, own_folder.own_folder(tmp_path) as two:
        assert not dead.exists() and one.exists() and two.exists()
        assert strange.exists() and (outside / "kernel.json").exists()
        assert os.stat(one).st_mode & 0o77 == 0
        assert own_folder.remove_dead(tmp_path) == 0
    assert not one.exists() and not two.exists()


def test_a_folder_that_cannot_be_made_is_one_sentence(tmp_path):
    with pytest.raises(ServingError, match="temporary folder: none can be made in .*nowhere: "):
        with own_folder.own_folder(tmp_path / "nowhere"):
            pass
