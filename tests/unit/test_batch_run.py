"""A whole run with workers that only pretend: what is made, left alone, kept, said and returned."""

import csv
import errno
import io
import json
import re

import pytest

from fitkit import files
from fitkit.batch import job as jobs
from fitkit.batch import processes, run
from fitkit.batch.folder import record_files
from fitkit.batch.run import Options, report
from fitkit.problems import WrongCallError


class PretendPool:
    """Makes each record at once, without kernels; fails the visits it is told to."""

    failing: dict[str, str] = {}  # noqa: RUF012
    made: list[str] = []  # noqa: RUF012

    def __init__(self, workers, environment, *, forked, wake, say):
        self.environment = environment

    def __enter__(self):
        return self

    def __exit__(self, *exception):
        pass

    def warm_up(self):
        pass

    def run(self, jobs):
        for job in list(jobs):
            self.made.append(job.key)
            yield job, self._outcome(job)

    def _outcome(self, job):
        folder = run.Path(job.making) / job.key
        folder.mkdir()
        if job.key in self.failing:
            return {"status": "failed", "reason": self.failing[job.key], "seconds": 0.1}
        results = {"results": [{"name": "hip.spacing", "value": 150.0}]}
        names = record_files(pdf=job.browser is not None)
        for name in names:
            (folder / name).write_text(json.dumps(results), encoding="utf-8")
        inputs = jobs.digests_of_inputs(job.inputs)
        return {
            "status": "made",
            "reason": "",
            "seconds": 0.1,
            "engine": "forked",
            "fingerprint": jobs.fingerprint(job.kit, inputs),
            "record": jobs.digest_of_files(folder, names),
        }


@pytest.fixture
def clinic(tmp_path, monkeypatch):
    """Return a small clinic: a function that writes visits, one that runs, and what was made in the last run."""
    monkeypatch.setattr(run, "Pool", PretendPool)
    monkeypatch.setattr(PretendPool, "failing", {})
    return Clinic(tmp_path)


class Clinic:
    def __init__(self, folder):
        self.sessions = folder / "sessions"
        self.out = folder / "out"
        self.sessions.mkdir()
        self.said = ""

    def visit(self, client, date="2026-03-04", **more):
        key = f"{client}_{date}_road"
        document = {"format": "cleat-stance-session", "version": 1, "client_id": client, "visit_date": date}
        path = self.sessions / f"{key}.json"
        path.write_text(json.dumps(document | {"setup": "road", **more}), encoding="utf-8")
        return key

    def run(self, **options):
        screen = io.StringIO()
        PretendPool.made = []
        try:
            return report([self.sessions], Options(out=self.out, **options), screen=screen)
        finally:
            self.said = screen.getvalue()

    @property
    def made(self):
        return PretendPool.made

    def summary(self):
        text = (self.out / "summary.csv").read_text(encoding="utf-8")
        return {row["key"]: row for row in csv.DictReader(io.StringIO(text))}

    def log(self):
        return [json.loads(line) for line in (self.out / "runlog.jsonl").read_text(encoding="utf-8").splitlines()]


def test_a_first_run_makes_all_and_says_so(clinic):
    keys = [clinic.visit("rider-1"), clinic.visit("rider-2")]
    assert clinic.run() == 0
    assert clinic.made == keys
    assert "2 made, 0 unchanged, 0 not made" in clinic.said
    assert {key: row["status"] for key, row in clinic.summary().items()} == dict.fromkeys(keys, "made")
    assert clinic.summary()[keys[0]]["hip.spacing"] == "150.0"
    assert [(line["key"], line["engine"], line["exit"], line["seconds"]) for line in clinic.log()] == [
        (key, "forked", 0, 0.1) for key in keys
    ]


def test_unchanged_visits_are_left_alone_and_again_makes_them(clinic):
    key = clinic.visit("rider-1")
    clinic.run()
    assert clinic.run() == 0
    assert clinic.made == []
    assert clinic.summary()[key]["status"] == "unchanged"
    assert clinic.run(again=True) == 0
    assert clinic.made == [key]


def test_a_changed_visit_is_made_and_so_is_the_one_after_it(clinic):
    first = clinic.visit("rider-1", "2025-01-01", rider={"mass_kg": 70})
    second, other = clinic.visit("rider-1", "2026-03-04"), clinic.visit("rider-2")
    clinic.run()
    clinic.visit("rider-1", "2025-01-01", rider={"mass_kg": 71})
    clinic.run()
    assert clinic.made == [first, second]
    assert clinic.summary()[other]["status"] == "unchanged"


@pytest.mark.parametrize(
    "what", ["film", "study", "rules", "parts", "template", "page", "package", "pdf", "full", "lost", "torn"]
)
def test_whatever_a_record_depends_on_makes_it_anew(clinic, tmp_path, monkeypatch, what):
    key = clinic.visit("rider-1", fitter_id="f1", ride={"films": [{"file": "left.mp4"}]})
    templates = tmp_path / "templates"
    templates.mkdir()
    for name in ("house_rules.json", "parts.csv", "client_report.ipynb"):
        (templates / name).write_bytes(files.template(name).read_bytes())
    monkeypatch.setattr(files, "template", lambda name: templates / name)
    clinic.run()
    options = change(clinic, templates, monkeypatch, key, what)
    clinic.run(**options)
    assert clinic.made == [key]
    clinic.run(**options)
    assert clinic.made == []


def change(clinic, templates, monkeypatch, key, what):
    if what == "film":
        (clinic.sessions / "left.mp4").write_bytes(b"film")
    elif what == "study":
        study = {"fitter_id": "f1", "date": "2026-01-01"}
        study |= {"place_sd_mm": 1, "place_df": 9, "spread_sd_mm": 1, "spread_df": 9}
        (clinic.sessions / "fitters").mkdir()
        (clinic.sessions / "fitters" / "f1.json").write_text(json.dumps(study), encoding="utf-8")
    elif what in ("rules", "parts"):
        name = {"rules": "house_rules.json", "parts": "parts.csv"}[what]
        (clinic.out.parent / "own").write_bytes((templates / name).read_bytes())
        return {what: clinic.out.parent / "own"}
    elif what == "template":
        with (templates / "client_report.ipynb").open("a", encoding="utf-8") as file:
            file.write("\n")
    elif what == "page":
        (templates / "record.css").write_text("body {}", encoding="utf-8")
    elif what == "package":
        monkeypatch.setattr("fitkit.__version__", "99")
    elif what == "pdf":
        monkeypatch.setattr(processes, "find_browser", lambda: "/bin/chromium")
        return {"pdf": True}
    elif what == "full":
        return {"full": True}
    elif what == "lost":
        (clinic.out / key / "rider_sheet.html").unlink()
    elif what == "torn":
        (clinic.out / key / "record.html").write_bytes(b"")
    return {}


def test_a_failure_keeps_the_earlier_record_and_says_it_is_out_of_date(clinic):
    key, other = clinic.visit("rider-1"), clinic.visit("rider-2")
    clinic.run()
    before = (clinic.out / key / "record.html").read_bytes()
    clinic.visit("rider-1", fitter_id="f1")
    PretendPool.failing[key] = "cell 3 stopped: \x1b[31m"
    assert clinic.run() == 1
    assert (clinic.out / key / "record.html").read_bytes() == before
    row = clinic.summary()[key]
    assert row["status"] == "failed"
    assert row["reason"].endswith("; the record here is an earlier one and out of date")
    assert row["hip.spacing"] == ""
    assert clinic.summary()[other]["status"] == "unchanged"
    assert "\x1b" not in clinic.said
    assert "\x1b" not in (clinic.out / "index.html").read_text(encoding="utf-8")
    assert clinic.log()[-1]["exit"] == 1
    assert not list(clinic.out.glob(".making/*"))
    PretendPool.failing.clear()
    assert clinic.run() == 0
    assert clinic.made == [key]


def test_a_session_that_became_unreadable_fails_and_the_others_are_made(clinic):
    key, other = clinic.visit("rider-1"), clinic.visit("rider-2")
    clinic.run()
    (clinic.sessions / f"{key}.json").write_text("{", encoding="utf-8")
    (clinic.sessions / "notes.json").write_text("{}", encoding="utf-8")
    assert clinic.run() == 1
    assert clinic.summary()[key]["status"] == "failed"
    assert "not JSON" in clinic.summary()[key]["reason"]
    assert clinic.summary()[str(clinic.sessions / "notes.json")]["status"] == "failed"
    assert clinic.summary()[other]["status"] == "unchanged"


def test_records_of_sessions_not_given_this_time_stay_and_say_so(clinic):
    key = clinic.visit("rider-1", demonstration=True)
    clinic.run()
    (clinic.sessions / f"{key}.json").unlink()
    clinic.visit("rider-2")
    assert clinic.run() == 0
    assert clinic.summary()[key]["status"] == "earlier"
    assert clinic.summary()[key]["hip.spacing"] == "150.0"
    assert "demonstration" in (clinic.out / "index.html").read_text(encoding="utf-8")


def test_a_record_that_cannot_be_put_in_place_fails(clinic, monkeypatch):
    key = clinic.visit("rider-1")

    def full(folder, key):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("fitkit.batch.folder.ReportFolder.put_in_place", full)
    assert clinic.run() == 1
    assert clinic.summary()[key]["reason"] == "the record could not be put in place: No space left on device"
    assert clinic.log()[-1]["status"] == "failed"


def test_an_index_that_cannot_be_written_is_said_and_the_records_stand(clinic, monkeypatch):
    key = clinic.visit("rider-1")

    def full(path, data, *, mode):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("fitkit.files.replace_durably", full)
    assert clinic.run() == 1
    assert "the index could not be written: No space left on device" in clinic.said
    assert (clinic.out / key / "record.html").is_file()


def test_wrong_house_rules_are_a_wrong_call_with_every_problem(clinic, tmp_path):
    clinic.visit("rider-1")
    (tmp_path / "rules.json").write_text('{"format": "x", "version": 2}', encoding="utf-8")
    with pytest.raises(WrongCallError) as caught:
        clinic.run(rules=tmp_path / "rules.json")
    assert len(caught.value.args) > 2
    assert not clinic.out.exists()


def test_pdf_without_chromium_says_what_to_install(clinic, monkeypatch):
    clinic.visit("rider-1")
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(WrongCallError, match="--pdf needs Chromium"):
        clinic.run(pdf=True)


def test_progress_on_a_terminal_keeps_one_line_and_else_has_no_carriage_returns(clinic):
    clinic.visit("rider-1"), clinic.visit("rider-2")
    clinic.run()
    assert "1 of 2 made, 0 failed, " in clinic.said
    assert " a second, " in clinic.said
    assert " s left\n" in clinic.said
    assert "\r" not in clinic.said


def test_a_clock_set_back_between_runs_changes_nothing(clinic, monkeypatch):
    key = clinic.visit("rider-1")
    clinic.run()
    monkeypatch.setattr(run, "_now", lambda: "1999-12-31T23:59:59.000+00:00")
    new = clinic.visit("rider-2")
    assert clinic.run() == 0
    assert clinic.made == [new]
    assert {key: row["status"] for key, row in clinic.summary().items()} == {key: "unchanged", new: "made"}
    monkeypatch.setattr(run, "_now", lambda: "2999-12-31T23:59:59.000+00:00")
    assert clinic.run() == 0
    assert clinic.made == []


def test_a_withdrawn_consent_takes_the_earlier_record_away_and_is_no_error(clinic):
    key = clinic.visit("rider-1")
    assert clinic.run() == 0
    assert (clinic.out / key / "record.html").is_file()
    clinic.visit("rider-1", consent={"record": False})
    assert clinic.run() == 0
    assert not (clinic.out / key).exists()
    assert "the rider does not agree to a record" in clinic.said
    assert clinic.summary()[key]["status"] == "consent withdrawn"
    assert clinic.log()[-1]["exit"] == 0


def test_an_old_record_stands_until_the_new_one_does(clinic, monkeypatch):
    key = clinic.visit("rider-1")
    assert clinic.run() == 0
    before = (clinic.out / key / "record.html").read_bytes()
    clinic.visit("rider-1", note="changed")
    monkeypatch.setattr(PretendPool, "failing", {key: "the disk is full"})
    assert clinic.run() == 1
    assert (clinic.out / key / "record.html").read_bytes() == before
    assert clinic.summary()[key]["reason"] == "the disk is full; the record here is an earlier one and out of date"


def test_time_left_is_not_wrong_by_more_than_half_after_the_first_tenth(monkeypatch):
    # Half a minute to get ready, then a record a second, every fifth of them five times as long.
    seconds = [5.0 if number % 5 == 0 else 1.0 for number in range(200)]
    clock = [0.0]
    monkeypatch.setattr(run.time, "monotonic", lambda: clock[0])
    screen = io.StringIO()
    progress = run.Progress(screen, 200)
    clock[0] = 30.0
    for number, took in enumerate(seconds, start=1):
        clock[0] += took
        progress.record(f"rider-{number}")
        said = float(re.search(r"(\d+) s left", screen.getvalue().splitlines()[-1])[1])
        left = sum(seconds[number:])
        if number >= 20 and left > 10:
            assert left / 1.5 <= said <= left * 1.5, number
