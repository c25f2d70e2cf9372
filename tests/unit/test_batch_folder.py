"""The report folder: whose it is, and how finished records get into their places."""

import stat

import pytest

from fitkit.batch.folder import MARKER, is_report_folder, opened
from fitkit.files import Access
from fitkit.problems import WrongCallError

KEY = "rider-1_2026-03-04_road"


def rights(path):
    return stat.S_IMODE(path.stat().st_mode)


def make(folder, key, text):
    folder.access.make_folder(folder.making / key)
    folder.access.write(folder.making / key / "results.json", text)


@pytest.mark.parametrize(("group", "of_folder", "of_file"), [(False, 0o700, 0o600), (True, 0o770, 0o660)])
def test_a_new_folder_is_marked_and_private(tmp_path, group, of_folder, of_file):
    out = tmp_path / "years" / "out"
    with opened(out, Access(group=group)) as folder:
        make(folder, KEY, b"1")
        folder.put_in_place(KEY)
        folder.access.replace(out / "index.html", b"index")
    assert is_report_folder(out)
    assert [rights(path) for path in (out, out / KEY)] == [of_folder, of_folder]
    files = (out / MARKER, out / ".lock", out / KEY / "results.json", out / "index.html")
    assert {rights(path) for path in files} == {of_file}
    assert not (out / ".making").exists()


def test_an_empty_folder_may_be_taken_and_one_of_ours_again(tmp_path):
    for _ in range(2):
        with opened(tmp_path, Access()) as folder:
            assert folder.path == tmp_path


def test_a_folder_with_other_files_is_refused_and_left_alone(tmp_path):
    (tmp_path / "letters.txt").touch()
    with pytest.raises(WrongCallError, match=r"holds other files, such as letters\.txt"), opened(tmp_path, Access()):
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "out").touch()
    with pytest.raises(WrongCallError, match="out is not a folder"), opened(tmp_path / "out", Access()):
        pass


def test_one_run_at_a_time(tmp_path):
    with (
        opened(tmp_path, Access()),
        pytest.raises(WrongCallError, match="is being written by another run"),
        opened(tmp_path, Access()),
    ):
        pass


def test_a_finished_record_replaces_the_one_before(tmp_path):
    with opened(tmp_path, Access()) as folder:
        for text in (b"old", b"new"):
            make(folder, KEY, text)
            folder.put_in_place(KEY)
    assert (tmp_path / KEY / "results.json").read_bytes() == b"new"
    assert folder.records() == [KEY]


def test_a_record_set_aside_by_a_killed_run_is_put_back(tmp_path):
    with opened(tmp_path, Access()) as folder:
        make(folder, KEY, b"finished")
        folder.put_in_place(KEY)
    killed = tmp_path / ".making" / "run-killed"
    killed.mkdir(parents=True)
    (tmp_path / KEY).rename(killed / f"{KEY}.old")
    (killed / KEY).mkdir()
    (tmp_path / ".index.tmp").touch()
    with opened(tmp_path, Access()) as folder:
        assert folder.records() == [KEY]
        assert not killed.exists()
    assert (tmp_path / KEY / "results.json").read_bytes() == b"finished"
    assert not (tmp_path / ".index.tmp").exists()
