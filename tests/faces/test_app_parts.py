"""The page of the parts by its widgets, and what is behind it as plain values."""

from __future__ import annotations

import json
import math
import re
import sys
import zlib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.app import services
from balancer.app.parts import entries, service, words
from balancer.app.parts.entries import TypedMachine, TypedPart
from balancer.app.parts.service import Wish
from balancer.core.places import Places, Ring, Slot, Spots
from balancer.errors import InputError, OperationError
from balancer.history.events import events_of
from balancer.history.machines import find_machine, list_machines
from balancer.history.parts import add_part, find_any_part, get_part, move_part, update_part
from balancer.history.queries import PartFilter, list_parts
from balancer.history.records.kept import new_id
from balancer.history.records.part import SPARE, BellSizes, Location, PartRecord, PropellerSizes
from balancer.history.store import Store

MAIN = str(Path(app.__file__).with_name("main.py"))
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
HOSTILE = "![p](a)<b>`"  # 11 characters: Markdown and HTML that must come out as written


@pytest.fixture
def empty(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path / "empty")])
    yield tmp_path / "empty"
    services.store(tmp_path / "empty").close()
    services.store.cache_clear()


@pytest.fixture
def store(home):
    """The history as another program sees it."""
    with Store.open(home) as store:
        yield store


def opened(part="", **address):
    page = AppTest.from_file(MAIN, default_timeout=30)
    for name, value in ({"part": part} if part else {}).items() | address.items():
        page.query_params[name] = value
    page.switch_page("views/parts.py").run()
    return sound(page)


def sound(page):
    assert not page.exception
    return page


def words_of(*elements):
    """What is shown, without the backslashes that keep Markdown from reading it."""
    return re.sub(r"\\(.)|\u2060", r"\1", "\n".join(e.value for group in elements for e in group))


def everything(page):
    groups = (page.markdown, page.caption, page.error, page.warning, page.info, page.success, page.title)
    return words_of(*groups)


def labels(page):
    """The labels of the parts that are listed."""
    links = [link.proto.label for link in page.get("page_link") if "part=" in link.proto.query_string]
    return [re.sub(r"\\(.)|\u2060", r"\1", re.match(r"\*\*(.*?)\*\* ", label)[1]) for label in links]


def widget(page, group, start):
    (found,) = [one for one in getattr(page, group) if one.key and one.key.startswith(start)]
    return found


def box(page, group, form, name, value):
    """Fill a box of a form."""
    widget(page, group, f"{form}_{name}_").set_value(value).run()
    return sound(page)


def press(page, start):
    widget(page, "button", start).click().run()
    return sound(page)


def part_of(store, label):
    found = find_any_part(store, label)
    assert found is not None
    return found


def form(name, part):
    return f"{name}_{part.id}"


# The list


def test_what_is_due_comes_out_at_once(home, store):
    page = opened()
    due = [p for p in list_parts(store) if p.due(service.listing(store, Wish(), service.now()).before)]
    assert due
    assert words_of(page.warning).startswith(f"{len(due)} of 15 parts are due.")
    assert labels(page) == ["M1", "M2", "M3", "M4", "M5", "M6", *(f"P{n}" for n in range(1, 10))]
    (p4,) = [link.proto.label for link in page.get("page_link") if link.proto.label.startswith("**P4**")]
    assert "**▲ due\\: crashed or repaired**" in p4  # a word and a shape


@pytest.mark.parametrize(
    ("name", "group", "value", "listed"),
    [
        ("kind", "button_group", "bell", ["M1", "M2", "M3", "M4", "M5", "M6"]),
        ("state", "button_group", "spare", ["P8"]),
        ("state", "button_group", "retired", ["P3", "P5"]),
        ("find", "text_input", "p1", ["P1"]),
        ("find", "text_input", "%", []),
        ("months", "number_input", 120, None),
    ],
)
def test_filters(home, name, group, value, listed):
    page = opened()
    getattr(page, group)(key=f"parts_filter_{name}").set_value(value).run()
    if listed is None:  # so old is nothing in the example: only what was disturbed or never looked at
        assert words_of(page.warning).startswith("2 of 15 parts are due.")
    else:
        assert labels(page) == listed
    assert page.query_params[name] in (str(value), [str(value)])
    again = opened(**{name: str(value)})  # the address brings the same list
    assert labels(again) == labels(page)
    press(again, "parts_forget")
    assert len(labels(again)) == 15


def test_only_what_is_due_on_a_machine(home, store):
    page = opened()
    page.button_group(key="parts_filter_shown").set_value("due").run()
    count = int(words_of(page.warning).split()[0])
    assert len(labels(page)) == count
    page.selectbox(key="parts_filter_machine").set_value(list_machines(store)[0].id).run()
    assert len(labels(page)) == count - 1  # P8 is a spare
    # the way to a part keeps the filters, and so the way back does
    assert all("shown=due" in link.proto.query_string for link in page.get("page_link"))


@pytest.mark.parametrize(
    "address", [{"months": "x"}, {"months": "999999"}, {"kind": "<b>"}, {"state": "?"}, {"shown": "no"}]
)
def test_an_address_that_nobody_made_lists_all(home, address):
    assert len(labels(opened(**address))) == 15


def test_a_part_that_is_not_there_is_told(home):
    page = opened("nobody")
    assert "not in the history" in words_of(page.warning)
    assert len(labels(page)) == 15


def test_a_long_list_shows_more_when_asked(home, store, monkeypatch):
    bell = part_of(store, "M1")
    with store.transaction():
        for number in range(service.AT_ONCE):
            add_part(store, replace(bell, id=new_id(), label=f"B{number}", where=SPARE))
    page = opened()
    assert len(labels(page)) == service.AT_ONCE
    press(page, "parts_more")
    assert len(labels(page)) == service.AT_ONCE + 15


def test_an_empty_history_says_what_to_do(empty):
    page = opened()
    assert "Add the first below" in everything(page)
    assert "balancer demo --home example" in page.code[0].value
    box(page, "button_group", "add", "kind", "bell")
    box(page, "text_input", "add", "label", "M1")
    press(page, "add_do")
    assert words_of(page.title) == "Motor bell M1"


def test_a_history_that_cannot_be_opened_is_told(tmp_path, monkeypatch):
    (tmp_path / "history.sqlite3").write_bytes(b"no history at all" * 100)
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path)])
    page = opened()
    assert len(page.error) == 1
    assert "Traceback" not in everything(page)


# The page of a part


def test_a_part_with_its_story(home, store):
    page = opened(part_of(store, "P6").id)
    assert words_of(page.title) == "Propeller P6"
    assert "Leave it alone" in words_of(page.success)
    on, trend = [m.value for m in page.markdown if "<svg" in m.value][::-1]
    assert "Unbalance over time in g mm with 95 % bounds" in trend
    assert "G6.3" in trend
    assert "crashed" in trend
    assert "On it: " in on
    shown = everything(page)
    assert "It has changed since last time" in shown
    assert re.search(r"\d{4}-\d\d-\d\d: crashed, tipped over on landing", shown)
    figures = {metric.label: metric.value for metric in page.metric}
    card = service.part_view(store, part_of(store, "P6").id, service.now()).card
    # the claim, in g mm: 1 kg m is 1e6 g mm (SI)
    assert float(figures["Left, 95 % (g mm)"][2:]) == pytest.approx(
        card.latest.left.verdict.claim * 1e6, rel=0.06
    )
    assert figures["Next check"] == str(card.due.next)


@pytest.mark.parametrize(
    ("label", "says"),
    [
        ("P4", "had left at most 0."),
        ("P8", "above the permissible"),
        ("P3", "retired"),
    ],
)
def test_how_a_part_stands_in_a_sentence(home, store, label, says):
    page = opened(part_of(store, label).id)
    assert says in everything(page)
    assert bool([b for b in page.button if b.key == "balance_it"]) == (label != "P3")


def test_balance_it_leads_to_the_guided_job_with_this_part(home, store):
    part = part_of(store, "P8")
    page = opened(part.id)
    press(page, "balance_it")
    assert page.query_params["begin"] in (part.id, [part.id])
    assert words_of(page.title) == "Balance a rotor"


def test_what_a_job_needs_is_asked_for(home, store):
    part = PartRecord(id=new_id(), edited=service.now(), label="P30", kind="adapter")
    add_part(store, part)
    page = opened(part.id)
    assert "A job needs to know its mass and where masses may go" in words_of(page.caption)
    assert "never on the bench" in words_of(page.info)


def test_a_moved_part_is_due_in_the_list_and_on_its_page_alike(home, store):
    part = part_of(store, "P6")
    move_part(store, part, SPARE, service.now())
    page = opened(part.id)
    assert {metric.label: metric.value for metric in page.metric}["Next check"] == "◇ due"
    assert "it was moved" in words_of(page.caption)
    page = opened(shown="due", months="120")
    assert words_of(page.warning).startswith("3 of 15 parts are due.")
    assert labels(page) == ["P4", "P6", "P8"]
    (p6,) = [link.proto.label for link in page.get("page_link") if link.proto.label.startswith("**P6**")]
    assert "**◇ due\\: moved**" in p6
    # as the report calls them, one by one
    for listed in list_parts(store):
        card = service.part_view(store, listed.id, service.now(), 120).card
        assert card.due.now == (listed.label in labels(page))


def test_angles_follow_the_choice_of_the_app(home, store):
    page = opened(part_of(store, "P6").id)
    against = re.search(r"radius \d+ mm, (\d+)°", everything(page))[1]
    page.button_group(key="direction").set_value("with").run()
    found = re.search(r"radius \d+ mm, (\d+)°", everything(sound(page)))[1]
    assert int(found) == pytest.approx(-int(against) % 360, abs=1)


def test_reports_and_recordings_are_made_when_asked_for(home, store):
    part = part_of(store, "P6")
    page = opened(part.id)
    offered = [button.proto.label for button in page.get("download_button")]
    assert [name for name in offered if name != "Recording"] == [label for label, _ in words.FILES.values()]
    view = service.part_view(store, part.id, service.now())
    recordings = [run for run in view.story.page.runs if run.recording]
    assert offered.count("Recording") == len(recordings) == 5
    content = service.recording(store, recordings[0].recording.file)()
    assert content == store.files.read(recordings[0].recording.file)
    assert re.fullmatch(r"P6-\d{4}-\d\d-\d\d-run-2\.stream", words.run_file(part, recordings[0]))
    data = json.loads(service.part_report(store, part.id, ".json", "against")())
    assert data["part"]["label"] == "P6"
    assert service.part_report(store, part.id, ".html", "with")().startswith(b"<!DOCTYPE html>")
    assert b"P6" in service.part_report(store, part.id, ".csv", "against")()


def test_a_hostile_label_reaches_page_and_files_as_it_is(home, store):
    part = replace(part_of(store, "P8"), label=HOSTILE, words=f"{HOSTILE} $x$ :red[y]")
    update_part(store, part, service.now())
    for page in (opened(), opened(part.id)):
        for element in (*page.markdown, *page.caption, *page.title, *page.success, *page.info):
            if "<svg" not in element.value:
                assert not re.search(r"(?<!\\)(!\[|<b>|\]\(|:red|\$x)", element.value)
    assert HOSTILE in words_of(page.title)
    assert words.report_file(HOSTILE, NOW, ".html") == "p-a-b-report-2026-06-01.html"
    assert words.report_file("☃", NOW, ".csv").startswith("part-")


# What a person says


def add_propeller(page, label="P20", **others):
    for group, name, value in (
        ("text_input", "label", label),
        ("button_group", "hand", "cw"),
        ("number_input", "diameter", 12.0),
        ("number_input", "blades", 2),
        *((group, name, value) for name, (group, value) in others.items()),
    ):
        box(page, group, "add", name, value)
    return press(page, "add_do")


def test_a_part_is_added(home, store):
    page = opened()
    press(page, "add_do")
    missing = "still missing: the label, the diameter, the number of blades, which way it turns; add it"
    assert missing in words_of(page.error)
    box(page, "number_input", "add", "inner_mm", 40.0)
    numbers = {
        "mass_g": ("number_input", 16.2),
        "pitch": ("number_input", 4.5),
        "material": ("text_input", "carbon"),
        "ring_mm": ("number_input", 14.0),
    }
    add_propeller(page, **numbers)
    assert "still missing: to where it may lie" in words_of(page.error)
    box(page, "number_input", "add", "outer_mm", 80.0)
    press(page, "add_do")
    assert words_of(page.title) == "Propeller P20"
    assert "Propeller P20 is added" in words_of(page.success)
    part = part_of(store, "P20")
    assert part.sizes.diameter == pytest.approx(0.3048)  # 12 in of 25.4 mm (by definition)
    assert part.sizes.pitch == pytest.approx(0.1143)
    assert (part.sizes.hand, part.sizes.blades, part.sizes.material) == ("cw", 2, "carbon")
    assert part.mass == pytest.approx(0.0162)
    assert part.places == Places.of_propeller(2, 0.04, 0.08, ring=Ring("hub", 0.014))
    assert part.where == SPARE
    assert part.grade == pytest.approx(6.3e-3)


def test_nothing_typed_is_lost_when_a_label_is_taken(home, store):
    page = add_propeller(opened(), "P1")
    assert 'there is a part in use with the label "P1"; choose another label' in words_of(page.error)
    assert widget(page, "number_input", "add_diameter").value == 12
    box(page, "text_input", "add", "label", "P21")
    press(page, "add_do")
    assert part_of(store, "P21").sizes.diameter == pytest.approx(0.3048)
    page = opened()
    assert widget(page, "text_input", "add_label").value == ""


def test_an_adapter_on_an_arm_and_what_is_refused(home, store):
    page = opened()
    box(page, "button_group", "add", "kind", "adapter")
    box(page, "text_input", "add", "label", "A1")
    box(page, "button_group", "add", "state", "fitted")
    press(page, "add_do")
    assert "still missing: the arm" in words_of(page.error)
    box(page, "selectbox", "add", "arm", 2)
    press(page, "add_do")
    assert part_of(store, "A1").where == Location("fitted", list_machines(store)[0].id, 2)


def test_sizes_in_mm(home, store):
    page = opened()
    box(page, "button_group", "add", "unit", "mm")
    box(page, "number_input", "add", "diameter", 300.0)
    box(page, "text_input", "add", "label", "P22")
    box(page, "button_group", "add", "hand", "ccw")
    box(page, "number_input", "add", "blades", 3)
    press(page, "add_do")
    assert part_of(store, "P22").sizes.diameter == pytest.approx(0.3)


def test_what_happened_is_kept_and_makes_the_part_due(home, store):
    part = part_of(store, "P6")
    page = opened(part.id)
    press(page, form("happened", part) + "_do")
    assert "still missing: what happened" in words_of(page.error)
    box(page, "button_group", form("happened", part), "kind", "crashed")
    box(page, "text_input", form("happened", part), "words", "a *fence*")
    press(page, form("happened", part) + "_do")
    assert "It crashed: this is kept" in words_of(page.success)
    assert "it crashed 0 days ago" in words_of(page.warning)
    assert "crashed, a *fence*" in everything(page)
    assert {metric.label: metric.value for metric in page.metric}["Next check"] == "▲ due"
    latest = events_of(store, part.id)[0]
    assert (latest.kind, latest.words) == ("crashed", "a *fence*")
    box(page, "button_group", form("happened", part), "kind", "checked")
    widget(page, "date_input", form("happened", part)).set_value(date.today() - timedelta(days=9)).run()
    press(page, form("happened", part) + "_do")
    assert (service.now() - events_of(store, part.id)[1].at).days in (8, 9)
    assert "it crashed 0 days ago" in words_of(page.warning)  # the check was before it


def test_a_part_is_moved(home, store):
    part, machine = part_of(store, "P8"), list_machines(store)[0]
    page = opened(part.id)
    press(page, form("move", part) + "_do")
    assert "still missing: where it is now" in words_of(page.error)
    box(page, "button_group", form("move", part), "state", "spare")
    press(page, form("move", part) + "_do")
    assert "P8 is there already" in words_of(page.error)
    box(page, "button_group", form("move", part), "state", "fitted")
    box(page, "selectbox", form("move", part), "arm", 1)
    press(page, form("move", part) + "_do")
    assert "propeller P8 turns cw, but arm 1 of" in words_of(page.error)
    box(page, "selectbox", form("move", part), "arm", 2)
    press(page, form("move", part) + "_do")
    assert "carries propeller P2 already; say first where that one goes" in words_of(page.error)
    assert get_part(store, part.id) == part
    box(page, "button_group", form("move", part), "state", "retired")
    box(page, "text_input", form("move", part), "words", "a crack")
    press(page, form("move", part) + "_do")
    assert get_part(store, part.id).where.state == "retired"
    assert events_of(store, part.id)[0].words == "a crack"
    assert machine.name not in words_of(page.caption)


@pytest.mark.parametrize(("counted", "degrees"), [("against", 90.0), ("with", 270.0)])
def test_how_a_propeller_is_turned_is_said_with_its_place(home, store, counted, degrees):
    part = part_of(store, "P6")
    page = opened(part.id)
    page.button_group(key="direction").set_value(counted).run()
    box(page, "button_group", form("move", part), "state", "fitted")
    box(page, "selectbox", form("move", part), "arm", 6)
    press(page, form("move", part) + "_do")
    assert "P6 is there already" in words_of(page.error)
    box(page, "number_input", form("move", part), f"turned_{counted}", degrees)
    press(page, form("move", part) + "_do")
    assert get_part(store, part.id).where == replace(part.where, turned=math.pi / 2)
    assert events_of(store, part.id)[0].where.turned == pytest.approx(math.pi / 2)
    assert f"on arm 6 of {list_machines(store)[0].name}, its mark at {degrees:.0f}°" in words_of(page.caption)
    assert f"moved, its mark at {degrees:.0f}° from that of the bell" in everything(page)
    # said without it again, it is there already: nothing that is known gets lost
    box(page, "button_group", form("move", part), "state", "fitted")
    box(page, "selectbox", form("move", part), "arm", 6)
    assert widget(page, "number_input", form("move", part) + "_turned").value is None
    press(page, form("move", part) + "_do")
    assert "P6 is there already" in words_of(page.error)


def test_only_of_a_propeller_on_an_arm_it_is_asked_how_it_is_turned(home, store):
    for label, state, asked in (("M6", "fitted", False), ("P6", "spare", False), ("P6", "fitted", True)):
        part = part_of(store, label)
        page = opened(part.id)
        box(page, "button_group", form("move", part), "state", state)
        keys = [one.key for one in page.number_input if one.key.startswith(form("move", part) + "_turned")]
        assert bool(keys) == asked


def test_a_part_is_changed_and_what_reads_as_before_stays(home, store):
    part = part_of(store, "P6")
    page = opened(part.id)
    press(page, form("change", part) + "_do")
    assert "nothing is changed" in words_of(page.error)
    box(page, "number_input", form("change", part), "mass_g", 15.5)
    box(page, "number_input", form("change", part), "grade", 2.5)
    press(page, form("change", part) + "_do")
    now = get_part(store, part.id)
    assert (now.mass, now.grade) == (pytest.approx(0.0155), pytest.approx(2.5e-3))
    assert replace(TypedPart.of(now), mass_g=15.0, grade=6.3) == replace(TypedPart.of(part), mass_g=15.0)
    box(page, "text_input", form("change", part), "label", "")
    press(page, form("change", part) + "_do")
    assert "still missing: the label" in words_of(page.error)


def test_another_tab_was_first_and_nothing_is_lost(home, store):
    part = part_of(store, "P6")
    page = opened(part.id)
    box(page, "text_input", form("change", part), "material", "carbon")
    update_part(store, replace(part, mass=0.0144, words="from the other tab"), service.now())
    press(page, form("change", part) + "_do")
    assert "another program has changed this part meanwhile" in words_of(page.error)
    # what was typed stands, and the boxes that nobody touched hold what the other tab said
    assert widget(page, "text_input", form("change", part) + "_material").value == "carbon"
    assert widget(page, "number_input", form("change", part) + "_mass_g").value == pytest.approx(14.4)
    press(page, form("change", part) + "_do")
    now = get_part(store, part.id)
    assert (now.sizes.material, now.mass, now.words) == (
        "carbon",
        pytest.approx(0.0144),
        "from the other tab",
    )


def test_a_part_moved_elsewhere_meanwhile_is_told(home, store):
    part = part_of(store, "P8")
    page = opened(part.id)
    box(page, "button_group", form("move", part), "state", "retired")
    update_part(store, replace(part, words="other"), service.now())
    press(page, form("move", part) + "_do")
    assert "another program has changed this part" in words_of(page.error)
    press(page, form("move", part) + "_do")
    assert get_part(store, part.id).where.state == "retired"


def test_all_pieces_are_taken_off(home, store):
    part = part_of(store, "P6")
    assert part.pieces
    page = press(opened(part.id), form("bare", part) + "_do")
    assert get_part(store, part.id).pieces == ()
    event = events_of(store, part.id)[0]
    assert (event.kind, event.words) == ("repaired", "all pieces were taken off")
    assert "Nothing is on P6 now" in words_of(page.success)
    assert "it was repaired" in everything(page)
    # what the last job had left on is still told, since a person may have clicked in error
    assert "put the record right" in words_of(page.warning)


def png():
    """A picture of one red point (W3C PNG specification, third edition: signature, IHDR, IDAT, IEND)."""

    def chunk(name, data):
        return len(data).to_bytes(4, "big") + name + data + zlib.crc32(name + data).to_bytes(4, "big")

    head = (1).to_bytes(4, "big") * 2 + b"\x08\x02\x00\x00\x00"
    point = zlib.compress(b"\x00\xff\x00\x00")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", point) + chunk(b"IEND", b"")


def test_a_photo_is_kept_and_shown(home, store):
    part = part_of(store, "P6")
    page = opened(part.id)
    assert not page.get("image")
    upload = widget(page, "file_uploader", form("change", part) + "_photo")
    upload.set_value(("../x.png", png(), "image/png")).run()
    press(page, form("change", part) + "_do")
    assert store.files.read(get_part(store, part.id).photo) == png()
    assert page.get("image")


def test_a_photo_that_no_browser_shows_is_left_out(home, store):
    part = replace(part_of(store, "P6"), photo=store.files.keep(b"<svg onload=alert(1)>"))
    update_part(store, part, service.now())
    assert not opened(part.id).get("image")


def test_a_history_that_is_locked_is_told_and_the_form_stays(home, store, monkeypatch):
    part = part_of(store, "P6")
    page = opened(part.id)
    box(page, "button_group", form("happened", part), "kind", "crashed")

    def locked(*_):
        raise OperationError("the history is in use by another program", todo="try again")

    with monkeypatch.context() as patch:
        patch.setattr("balancer.app.parts.state.note_event", locked)
        press(page, form("happened", part) + "_do")
        assert "in use by another program; try again" in words_of(page.error)
    assert widget(page, "button_group", form("happened", part) + "_kind").value == "crashed"
    press(page, form("happened", part) + "_do")
    assert events_of(store, part.id)[0].kind == "crashed"


# Machines


def test_a_machine_is_added_and_changed(home, store):
    page = opened()
    press(page, "machine_do")
    assert "still missing: the name, how many arms it has" in words_of(page.error)
    box(page, "text_input", "machine", "name", "Tern")
    box(page, "number_input", "machine", "arms", 4)
    press(page, "machine_do")
    tern = find_machine(store, "tern")
    assert [arm.hand for arm in tern.arms] == ["ccw", "cw", "ccw", "cw"]
    box(page, "button_group", f"machine_{tern.id}", "open", "Change it")
    box(page, "button_group", f"machine_{tern.id}", "clockwise", [1, 4])
    box(page, "text_input", f"machine_{tern.id}", "words", "a camera craft")
    press(page, f"machine_{tern.id}_do")
    tern = find_machine(store, "tern")
    assert [arm.hand for arm in tern.arms] == ["cw", "ccw", "ccw", "cw"]
    assert tern.words == "a camera craft"
    box(page, "button_group", f"machine_{tern.id}", "open", "Change it")
    box(page, "button_group", f"machine_{tern.id}", "clockwise", [])
    box(page, "number_input", f"machine_{tern.id}", "arms", 6)  # the new ones turn by turns
    press(page, f"machine_{tern.id}_do")
    assert [arm.number for arm in find_machine(store, "tern").arms if arm.hand == "cw"] == [6]
    box(page, "text_input", "machine", "name", "TERN")
    box(page, "number_input", "machine", "arms", 4)
    press(page, "machine_do")
    assert 'there is a machine "TERN" already' in words_of(page.error)


def test_arms_with_parts_do_not_go(home, store):
    machine = list_machines(store)[0]
    page = opened()
    assert "arm 6, clockwise: motor bell M6, propeller P6" in everything(page)
    box(page, "button_group", f"machine_{machine.id}", "open", "Change it")
    box(page, "number_input", f"machine_{machine.id}", "arms", 5)
    press(page, f"machine_{machine.id}_do")
    assert "M6 is on arm 6 of" in words_of(page.error)
    assert list_machines(store)[0] == machine


def test_the_sheet_of_a_machine(home, store):
    machine = list_machines(store)[0]
    assert b"P6" in service.machine_report(store, machine.id, ".csv", "against")()
    labels = [button.proto.label for button in opened().get("download_button")]
    assert labels[0] == "Sheet to read and print (HTML)"


# Behind the page


def record(**more):
    about = {"id": new_id(), "edited": NOW, "label": "X", "kind": "propeller", **more}
    return PartRecord(**about)


@pytest.mark.parametrize(
    "part",
    [
        record(sizes=PropellerSizes(0.3048, 2, "cw", 0.1143, "carbon"), mass=0.016),
        record(
            sizes=PropellerSizes(0.127, 3, "ccw"),
            places=Places(
                Places.of_propeller(3, 0.02, 0.06, usual=0.03, first=0.5, faces=1, sanded_from=0.05).blades,
                (Ring("hub", 0.01, (Slot(0.5, 0.1), Slot(0.5 + 3.141592653589793, 0.1))),),
            ),
        ),
        record(
            kind="bell",
            sizes=BellSizes(0.014, "28 mm", 14),
            places=Places((), (), (Spots("screw", 0.012, (0.0, 2.0943951023931953, 4.1887902047863905)),)),
        ),
        record(kind="adapter", sizes=None, words="an adapter"),
    ],
)
def test_a_part_typed_as_it_stands_is_the_same_part(part):
    typed = TypedPart.of(part)
    assert typed.onto(part) == part
    new = typed.new(part.id, part.edited, part.where)
    assert TypedPart.of(new) == typed


def test_places_that_no_box_can_say_stay_when_something_else_is_changed():
    places = Places(rings=(Ring("rim", 0.014), Ring("flange", 0.010)))
    part = record(kind="bell", sizes=BellSizes(), places=places)
    assert replace(TypedPart.of(part), mass_g=25.0).onto(part).places == places
    assert replace(TypedPart.of(part), ring_mm=15.0).onto(part).places == Places(rings=(Ring("rim", 0.015),))
    assert replace(TypedPart.of(part), ring_mm=None).onto(part).places is None


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"slots": 4}, "the radius of the ring with the slots, how wide a slot is"),
        ({"screw_mm": 10.0}, "how many screw heads"),
        ({"grade": None}, "the grade"),
        ({"label": " "}, "the label"),
    ],
)
def test_what_is_missing_is_said_in_one_sentence(change, says):
    typed = replace(TypedPart(kind="bell", label="M1", grade=6.3), **change)
    with pytest.raises(InputError, match=says):
        typed.new(new_id(), NOW, SPARE)


def test_a_machine_typed_as_it_stands_is_the_same_machine(store):
    machine = list_machines(store)[0]
    assert TypedMachine.of(machine).onto(machine) == machine


def test_a_day_is_a_moment():
    assert entries.moment_of(None, NOW) == NOW
    assert entries.moment_of(NOW.astimezone().date(), NOW) == NOW
    assert entries.moment_of(date(2026, 5, 1), NOW).astimezone().hour == 12


def test_a_part_is_told_anew_only_after_a_change(home, store):
    part, now = part_of(store, "P6"), service.now()
    first = service.part_view(store, part.id, now)
    assert service.part_view(store, part.id, now) is first
    with Store.open(home) as other:
        update_part(other, replace(part, words="changed"), now)
    second = service.part_view(store, part.id, now)
    assert second.part.words == "changed"
    update_part(store, replace(second.part, words="again"), now)
    assert service.part_view(store, part.id, now).part.words == "again"


def test_the_text_of_a_filter_is_no_pattern(store):
    assert list_parts(store, PartFilter(text="_")) == ()
    assert [p.label for p in list_parts(store, PartFilter(text="m6"))] == ["M6"]
