"""Parts, machines, events: what is checked where they are made, and where they are kept."""

import math
from dataclasses import replace

import pytest

from balancer.errors import InputError, OperationError
from balancer.history.events import add_event, events_of, update_event
from balancer.history.machines import add_machine, find_machine, get_machine, update_machine
from balancer.history.parts import add_part, find_part, get_part, move_part, put_pieces, update_part
from balancer.history.records.machine import Arm
from balancer.history.records.part import RETIRED, SPARE, BellSizes, Location, PropellerSizes
from tests.history import makers

ON_1 = Location("fitted", makers.machine().id, 1, math.pi / 2)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: makers.part("a label too long"), 'the label "a label too long" is longer than 12'),
        (lambda: makers.part(" P1"), "the label must be one line without spaces at its ends"),
        (lambda: makers.part(""), "the label must be one line"),
        (lambda: makers.part("P\x00"), r"the label holds the character '\\x00'"),
        (lambda: makers.part("P1", id="1"), "the id '1' is no UUID"),
        (lambda: makers.part("P1", mass=0.0), "the mass of a part must be a number above 0"),
        (lambda: makers.part("P1", kind="bell"), "not the sizes of part P1, which is called a bell"),
        (lambda: makers.bell("M1", kind="propeller"), "not the sizes of part M1"),
        (lambda: makers.part("P1", edited=makers.START.replace(tzinfo=None)), "has no time zone"),
        (lambda: makers.part("P1", photo="me.jpg"), "digest of the photo must be 64 hexadecimal digits"),
        (lambda: makers.part("P1", places=makers.BELL_PLACES), "P1 has 2 blades, its places for masses 0"),
        (lambda: PropellerSizes(0.3, 1, "ccw"), "a propeller has 2 to 12 blades, not 1"),
        (lambda: PropellerSizes(0.3, 2, "left"), 'ccw or cw, not "left"'),
        (lambda: BellSizes(-0.01), "the radius of a part must be a number above 0"),
        (lambda: Location("fitted"), "a part that is fitted is on an arm of a machine"),
        (lambda: Location("spare", makers.ident(1), 2), "a part that is fitted is on an arm"),
        (lambda: Location("fitted", makers.ident(1), 0), "arms are numbered from 1 to 99"),
        (lambda: Location("spare", turned=1.0), "only a propeller on an arm is turned on a hub; leave out"),
        (
            lambda: Location("fitted", makers.ident(1), 1, -0.1),
            "a mark stands at 0 to 360 degrees on the hub",
        ),
        (lambda: Location("fitted", makers.ident(1), 1, math.nan), "a mark stands at 0 to 360 degrees"),
        (lambda: makers.bell("M1", where=ON_1), "part M1 is called a bell, and only a propeller is turned"),
        (lambda: makers.machine(arms=()), "a machine has one arm or more"),
        (lambda: makers.machine(arms=(Arm(2, "cw"), Arm(2, "cw"))), "each number once"),
        (lambda: makers.event(makers.part(), "lost"), "'lost' is no kind of event; choose one of made, "),
        (lambda: makers.stand(moving_mass=-1.0), "the moving mass of the stand must be above 0"),
    ],
)
def test_nonsense_is_refused_where_it_is_made(make, words):
    with pytest.raises(InputError, match=words):
        make()


def test_quotes_brackets_emoji_and_right_to_left_text_are_kept(store):
    words = 'a "quoted" <b>one</b>; DROP TABLE parts -- \U0001f681 مروحة\n=1+1'
    add_part(store, makers.part("<P'1\">\U0001f681", words=words))
    assert find_part(store, "<P'1\">\U0001f681").words == words


def test_a_label_is_unique_among_the_parts_in_use(store):
    first = makers.part("P1")
    add_part(store, first)
    again = makers.part("p1", id=makers.ident("another"))
    with pytest.raises(InputError, match='there is a part in use with the label "p1"; choose another'):
        add_part(store, again)
    move_part(store, first, RETIRED, makers.later(days=1))
    add_part(store, again)
    assert find_part(store, "P1").id == again.id


def test_a_retired_part_does_not_come_back_under_a_label_that_was_given_away(store):
    first = makers.part("P1")
    add_part(store, first)
    gone = move_part(store, first, RETIRED, makers.later(days=1))
    add_part(store, makers.part("P1", id=makers.ident("another")))
    with pytest.raises(InputError, match="there is a part in use with the label"):
        move_part(store, gone, SPARE, makers.later(days=2))


def test_an_arm_carries_one_part_of_a_kind(store):
    machine = makers.machine()
    add_machine(store, machine)
    on_3 = Location("fitted", machine.id, 3)
    add_part(store, makers.part("P1", where=on_3))
    add_part(store, makers.bell("M1", where=on_3))
    add_part(store, makers.part("P2"))
    with pytest.raises(InputError, match="arm 3 of Tern carries propeller P1 already; say first where"):
        move_part(store, get_part(store, makers.part("P2").id), on_3, makers.later(days=1))
    assert events_of(store, makers.part("P2").id) == ()
    with pytest.raises(InputError, match="Tern has no arm 7; choose one of 1, 2, 3, 4, 5, 6"):
        add_part(store, makers.part("P3", where=Location("fitted", machine.id, 7)))


def test_two_parts_change_places_in_one_transaction(store):
    machine = makers.machine()
    add_machine(store, machine)
    here, there = Location("fitted", machine.id, 1), Location("fitted", machine.id, 3)
    one, two = makers.part("P1", where=here), makers.part("P2", where=there)
    add_part(store, one)
    add_part(store, two)
    with store.transaction():
        aside = move_part(store, one, SPARE, makers.later(days=1))
        move_part(store, two, here, makers.later(days=1))
        move_part(store, aside, there, makers.later(days=1, seconds=1))
    assert (find_part(store, "P1").where, find_part(store, "P2").where) == (there, here)


def test_a_propeller_does_not_go_on_an_arm_that_turns_the_other_way(store):
    machine = makers.machine()
    add_machine(store, machine)
    with pytest.raises(
        InputError, match="propeller P1 turns ccw, but arm 2 of Tern turns cw; choose another"
    ):
        add_part(store, makers.part("P1", where=Location("fitted", machine.id, 2)))


def test_a_move_is_kept_as_an_event(store):
    part = makers.part()
    add_part(store, part)
    moved = move_part(store, part, RETIRED, makers.later(days=9), "a crack at the root")
    (event,) = events_of(store, part.id)
    assert (event.kind, event.at, event.words) == ("retired", makers.later(days=9), "a crack at the root")
    assert (event.where, moved.edited) == (RETIRED, makers.later(days=9))
    assert get_part(store, part.id).where == RETIRED


def test_a_move_that_is_told_later_was_edited_when_it_was_told(store):
    part = makers.part()
    add_part(store, part)
    told, at = makers.later(days=9), makers.later(days=2)
    moved = move_part(store, part, RETIRED, told, at=at)
    (event,) = events_of(store, part.id)
    # which of two histories knows better goes by when it was told
    assert (event.at, event.edited, moved.edited) == (at, told, told)
    with pytest.raises(InputError, match="in the future"):
        move_part(store, moved, SPARE, told, at=makers.later(days=10))
    assert len(events_of(store, part.id)) == 1


@pytest.fixture
def turned(store):
    """A propeller on a bell, turned by a quarter."""
    add_machine(store, makers.machine())
    add_part(store, makers.part(where=ON_1))
    add_part(store, makers.bell(where=replace(ON_1, turned=None)))
    return store


def test_how_a_propeller_is_turned_is_kept_with_its_place(turned):
    part = find_part(turned, "P1")
    assert part.where == ON_1
    moved = move_part(turned, part, replace(ON_1, turned=math.pi), makers.later(days=1), "for the footage")
    (event,) = events_of(turned, part.id)
    assert (event.kind, event.where.turned) == ("moved", pytest.approx(math.pi))
    assert move_part(turned, moved, SPARE, makers.later(days=2)).where.turned is None


@pytest.mark.parametrize("where", [SPARE, RETIRED, replace(ON_1, arm=3, turned=None)])
def test_a_propeller_whose_bell_goes_is_turned_nobody_knows_how(turned, where):
    move_part(turned, find_part(turned, "M1"), where, makers.later(days=1))
    assert find_part(turned, "P1").where == replace(ON_1, turned=None)
    assert events_of(turned, makers.part().id) == ()  # it was not moved itself


def test_a_bell_that_stays_leaves_the_turn_known(turned):
    bell = find_part(turned, "M1")
    move_part(turned, bell, bell.where, makers.later(days=1))
    assert find_part(turned, "P1").where == ON_1


def test_pieces_on_a_part_are_kept(store):
    add_part(store, makers.part())
    put_pieces(store, makers.part(), [makers.tape_piece()], makers.later(days=1))
    (piece,) = find_part(store, "P1").pieces
    assert piece.mass.unbalance == pytest.approx(makers.tape_piece().mass.unbalance)


def test_a_stale_part_does_not_overwrite_a_newer_one(store):
    part = makers.part()
    add_part(store, part)
    update_part(store, replace(part, words="repainted"), makers.later(days=1))
    with pytest.raises(OperationError, match="another program has changed this part meanwhile"):
        move_part(store, part, RETIRED, makers.later(days=2))
    assert events_of(store, part.id) == ()


def test_an_arm_with_a_part_on_it_does_not_go(store):
    machine = makers.machine()
    add_machine(store, machine)
    add_part(store, makers.part("P1", where=Location("fitted", machine.id, 5)))
    with pytest.raises(InputError, match="part P1 is on arm 5 of Tern; take it off"):
        update_machine(store, replace(machine, arms=machine.arms[:4]), makers.later(days=1))
    renamed = update_machine(store, replace(machine, name="Gull"), makers.later(days=1))
    assert find_machine(store, "gull") == renamed == get_machine(store, machine.id)


def test_the_words_of_an_event_can_be_changed(store):
    add_part(store, makers.part())
    add_event(store, makers.event(makers.part(), "crashed"))
    (event,) = events_of(store, makers.part().id)
    update_event(store, replace(event, words="a birch"), makers.later(days=1))
    assert events_of(store, makers.part().id)[0].words == "a birch"


def test_a_photo_must_be_there(store):
    with pytest.raises(InputError, match="the photo of part P1 is not in the history; add it first"):
        add_part(store, makers.part(photo="0" * 64))
    add_part(store, makers.part(photo=store.files.keep(b"a picture")))
    assert store.files.read(find_part(store, "P1").photo) == b"a picture"


def test_a_part_goes_on_the_bench_under_its_label():
    on_bench = makers.part("P7").on_bench()
    assert (on_bench.name, on_bench.mass, on_bench.hand) == ("P7", 0.016, "ccw")
    assert makers.bell("M1").on_bench("cw").hand == "cw"
    with pytest.raises(InputError, match="the mass of part P8 is not known; weigh it"):
        makers.part("P8", mass=None).on_bench()
    with pytest.raises(InputError, match="where masses may go on part P8 is not known"):
        makers.part("P8", places=None).on_bench()
