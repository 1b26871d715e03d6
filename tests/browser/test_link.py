"""A job on a part of the history in a real browser: begun from its address, done, then it stands there."""

from __future__ import annotations

import pytest

from balancer.app.guided.keeping import JobFolder
from balancer.history.events import events_of
from balancer.history.jobs import jobs_of_part
from balancer.history.machines import list_machines
from balancer.history.parts import find_part
from balancer.history.runs import runs_of_job
from balancer.history.store import Store
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_bell
from tests.browser.walk import choose, click, drop, heading, idle

pytestmark = pytest.mark.browser

BELL = coastal_bell(6)  # turns counter-clockwise


def add_run(page, folder, job, path):
    """Record what is on the bell now, as its job says, and hand the file in."""
    kept = JobFolder(folder).get(job)
    recording = BELL.record(speed=COASTAL_SPEED, duration=3.0, masses=kept.job.masses, seed=len(path.name))
    write(recording, path)
    choose(page, "A recording")
    drop(page, "file_", path)
    page.get_by_text(f"{path.name}: 3.0 s of x, y, z").first.wait_for()
    click(page, "add")


def test_a_job_on_a_part_of_the_history(open_full, full_home, tmp_path):
    with Store.open(full_home) as store:
        (machine,) = list_machines(store)
        arm = next(arm for arm in machine.arms if arm.hand == "ccw")
        part = find_part(store, f"M{arm.number}")
        before = len(jobs_of_part(store, part.id))
    page = open_full(address=f"?begin={part.id}")
    page.get_by_text(f"Bell, arm {arm.number} of {machine.name}, 25.0 g, turns counter-clockwise").wait_for()
    idle(page)
    assert page.locator(".st-key-own_stand input").input_value().startswith("bench (example): ")
    click(page, "begin", then="Read the cautions")
    job = page.url.rpartition("job=")[2]
    assert "begin=" not in page.url
    click(page, "acknowledge", then="Check the sensor at rest")
    click(page, "skip", then="Spin the as-is run")
    add_run(page, full_home, job, tmp_path / "as-is.stream.csv")
    page.get_by_role("heading", name="Fit the correction", exact=True).wait_for()
    page.get_by_text("It stands in for the trial run").wait_for()
    page.screenshot(path=tmp_path / "stored.png", full_page=True)
    click(page, "fit", then="Spin the check run")
    page.reload()
    heading(page, "Spin the check run")
    add_run(page, full_home, job, tmp_path / "check.stream.csv")
    page.get_by_role("heading", name="Done", exact=True).wait_for()
    page.get_by_text(f"Kept in the history of {part.label}: 2 runs, 2 with the recording.").wait_for()
    page.screenshot(path=tmp_path / "done.png", full_page=True)
    with Store.open(full_home) as store:
        record, *older = jobs_of_part(store, part.id)
        assert len(older) == before
        names = [run.recording.name for run in runs_of_job(store, record.id)]
        assert names == ["as-is.stream.csv", "check.stream.csv"]
        assert [one.kind for one in events_of(store, part.id) if one.job == record.id] == ["balanced"]
    idle(page)
    page.get_by_role("link", name=f"Open {part.label} under Parts").click()
    page.wait_for_url(f"**/parts?part={part.id}")
