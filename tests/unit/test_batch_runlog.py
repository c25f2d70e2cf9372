"""The run log is only added to, and a line a killed run cut off does no harm."""

import json

from fitkit.batch.folder import Entry, RunLog
from fitkit.files import Access


def entry(key, status="made", **more):
    return Entry(run="r", at="t", key=key, file=f"{key}.json", status=status, **more)


def test_lines_come_back_in_order(tmp_path):
    log = RunLog(tmp_path, Access())
    entries = [entry("a", seconds=1.5), entry("b", "failed", reason="why\u2028not \udcff")]
    for item in entries:
        log.add(item)
    assert log.entries() == entries
    assert len(log.path.read_text(encoding="utf-8").splitlines()) == 2


def test_half_a_last_line_is_tolerated_and_closed(tmp_path):
    log = RunLog(tmp_path, Access())
    log.add(entry("a"))
    with log.path.open("ab") as file:
        file.write(b'{"run": "r", "at"')
    assert [item.key for item in log.entries()] == ["a"]
    log.add(entry("b"))
    assert [item.key for item in log.entries()] == ["a", "b"]
    assert json.loads(log.path.read_bytes().splitlines()[-1])["key"] == "b"


def test_lines_of_another_kind_are_passed_over(tmp_path):
    log = RunLog(tmp_path, Access())
    log.path.write_bytes(b'[1]\nnull\n{"key": 1}\n\xff\xfe\n')
    assert log.entries() == []
