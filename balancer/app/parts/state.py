"""What the page of the parts remembers, and what its clicks do; parts and machines lie in the history.

The address names the part and the filters: so a reload, a second tab and a link show the same. What is typed
into a form stays until it was kept; what another tab changed meanwhile is taken over into the boxes that the
person has not touched.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import wraps
from typing import Any, ParamSpec, cast

import streamlit as st

from balancer.app import services, state
from balancer.app.parts import service
from balancer.app.parts.entries import TypedMachine, TypedPart, by_turns, moment_of, names, place_of
from balancer.app.parts.service import AT_ONCE, MORE, Wish
from balancer.app.parts.words import HAPPENED, KINDS, STATES, title
from balancer.core.due import USUAL_MONTHS
from balancer.errors import BalancerError, InputError
from balancer.history.events import note_event
from balancer.history.machines import add_machine, get_machine, update_machine
from balancer.history.parts import add_part, get_part, move_part, take_all_off, update_part
from balancer.history.queries import PartFilter, holds_part
from balancer.history.records.event import EventKind
from balancer.history.records.kept import new_id
from balancer.history.records.machine import Machine
from balancer.history.records.part import Location, PartRecord, State
from balancer.history.store import Store

PART = "part"  # in the address; the filters, too
SHOWN, KIND, STATE, MACHINE, MONTHS, FIND = "shown", "kind", "state", "machine", "months", "find"

_P = ParamSpec("_P")
_TROUBLE, _DONE = "_parts_trouble", "_parts_done"
_ROUND, _BASE, _MOST = "_parts_round", "_parts_base", "_parts_most"


def store() -> Store:
    """Give the history."""
    return services.store(state.home())


# The address


def part_id() -> str:
    """Give the id of the part that is shown; empty for the list."""
    return str(st.query_params.get(PART, ""))


def show_address() -> None:
    """Let the browser show the address, and remember it for its way back.

    A link from a page to itself changes what the page is asked for, but not what the browser shows (seen with
    Streamlit 1.67). Said again when nothing has changed, it does nothing.
    """
    st.query_params.from_dict(st.query_params.to_dict())


def there(id: str) -> bool:
    """Say whether there is such a part."""
    return holds_part(store(), id)


def address(**changes: str | None) -> dict[str, str]:
    """Give the address with some of it changed; None leaves a name out."""
    kept = dict(st.query_params.to_dict()) | changes
    return {name: value for name, value in kept.items() if value}


def begin(part: str) -> dict[str, str]:
    """Give the address at which the guided job begins with a part."""
    return {"begin": part} | ({"angles": "with"} if state.direction() == "with" else {})


def filter_key(name: str) -> str:
    """Name the widget of a filter."""
    return f"parts_filter_{name}"


def said(name: str) -> str:
    """Give what a filter is set to, in the address or just now; empty for no matter."""
    key = filter_key(name)
    value = st.session_state[key] if key in st.session_state else st.query_params.get(name, "")
    return "" if value is None else str(value)


def keep_filters() -> None:
    """Put the filters into the address, and list from the beginning."""
    for name in (SHOWN, KIND, STATE, MACHINE, MONTHS, FIND):
        value = said(name).strip()
        if value and value not in ("all", str(USUAL_MONTHS) if name == MONTHS else ""):
            st.query_params[name] = value
        else:
            st.query_params.pop(name, None)
    st.session_state.pop(_MOST, None)


def forget_filters() -> None:
    """Show all parts again."""
    for name in (SHOWN, KIND, STATE, MACHINE, MONTHS, FIND):
        st.session_state.pop(filter_key(name), None)
        st.query_params.pop(name, None)


def months() -> int:
    """How old a check may be: what was chosen, from 1 to 120."""
    text = said(MONTHS)
    return min(max(int(text), 1), 120) if text.isdigit() and len(text) < 6 else USUAL_MONTHS


def wish() -> Wish:
    """Give which parts are asked for."""
    only = PartFilter(
        kind=cast(Any, said(KIND) if said(KIND) in KINDS else None),
        state=cast(Any, said(STATE) if said(STATE) in STATES else None),
        machine=said(MACHINE) or None,
        text=said(FIND).strip(),
    )
    return Wish(only, said(SHOWN) == "due", months(), int(state.get(_MOST) or AT_ONCE))


def more() -> None:
    """List more parts."""
    st.session_state[_MOST] = wish().limit + MORE


# Forms: what is typed stays under names that change only once it was kept


def key(form: str, name: str) -> str:
    """Name the widget of a form."""
    return f"{form}_{name}_{_rounds().get(form, 0)}"


def get(form: str, name: str) -> Any:
    """Give what a widget of a form holds."""
    return state.get(key(form, name))


def turned_key(form: str) -> str:
    """Name the box for how a propeller is turned: a number that counts the other way is another number."""
    return key(form, f"turned_{state.direction()}")


def _rounds() -> dict[str, int]:
    return cast(dict[str, int], st.session_state.setdefault(_ROUND, {}))


def trouble(form: str) -> str:
    """Give the sentence of why the last click of a form changed nothing; empty when it did."""
    where, said = state.get(_TROUBLE) or ("", "")
    return str(said) if where == form else ""


def done() -> str:
    """Give the sentence of what the last click did, once; empty when it did nothing."""
    return str(st.session_state.pop(_DONE, ""))


def _form(work: Callable[_P, str]) -> Callable[_P, None]:
    """Let a click of a form (its first argument) tell what it did or why it could not."""

    @wraps(work)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> None:
        form = str(args[0])
        st.session_state[_TROUBLE], st.session_state[_DONE] = ("", ""), ""
        try:
            done = work(*args, **kwargs)
        except BalancerError as error:
            # beside the form, and not where other pages show their own
            st.session_state[_TROUBLE] = (form, str(error))
        else:
            st.session_state[_DONE] = done
            _empty(form)

    return wrapped


def _empty(form: str) -> None:
    """Let a form whose content is kept begin anew."""
    rounds = dict(_rounds())
    rounds[form] = rounds.get(form, 0) + 1
    st.session_state[_ROUND] = rounds
    bases = dict(state.get(_BASE) or {})
    bases.pop(form, None)
    st.session_state[_BASE] = bases


def fill(form: str, now: TypedPart | TypedMachine) -> None:
    """Fill the boxes of a form that are not there yet.

    Where the record was changed elsewhere meanwhile, boxes that nobody has touched take the new value.
    """
    bases = dict(state.get(_BASE) or {})
    base = bases.get(form, now)
    for name in names(now):
        box = key(form, name)
        untouched = box not in st.session_state or _plain(st.session_state[box]) == getattr(base, name)
        if box not in st.session_state or (base != now and untouched):
            st.session_state[box] = _boxed(getattr(now, name))
    st.session_state[_BASE] = bases | {form: now}


def typed_part(form: str, kind: str | None = None, unit: str | None = None) -> TypedPart:
    """Give what is typed about a part."""
    found = {name: _plain(get(form, name)) for name in names(TypedPart())}
    found["kind"] = kind or found["kind"] or "propeller"
    found["unit"] = unit or found["unit"] or "in"
    texts = ("label", "words", "material", "motor")
    return TypedPart(**(found | {name: found[name] or "" for name in texts}))


def typed_machine(form: str) -> TypedMachine:
    """Give what is typed about a machine."""
    arms = get(form, "arms")
    return TypedMachine(
        name=get(form, "name") or "",
        arms=None if arms is None else int(arms),
        clockwise=tuple(get(form, "clockwise") or ()),
        words=get(form, "words") or "",
    )


def turning(form: str) -> None:
    """Let arms that are new turn by turns, and none turn that is not there any more."""
    box, arms = key(form, "clockwise"), int(get(form, "arms") or 0)
    before = int(st.session_state.get(f"{box}_of", st.session_state[_BASE][form].arms or 0))
    if arms != before:
        kept = [number for number in st.session_state.get(box) or () if number <= arms]
        st.session_state[box] = kept + [number for number in by_turns(arms) if number > before]
    st.session_state[f"{box}_of"] = arms


def _plain(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _boxed(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


# What is done: each is one change, written at once


@_form
def add(form: str) -> str:
    """Add a part, and show it."""
    now = service.now()
    typed = typed_part(form)
    with store().transaction():
        part = typed.new(new_id(), now, _place(form, "spare"))
        add_part(store(), part)
    st.query_params[PART] = part.id
    return f"{title(part)} is added."


@_form
def change(form: str, seen: PartRecord) -> str:
    """Change what is said of a part."""
    typed = typed_part(form, seen.kind)
    uploaded = get(form, "photo")
    changed = typed.onto(seen)
    if uploaded is not None:
        changed = _with_photo(changed, uploaded.getvalue())
    if changed == seen:
        raise InputError("nothing is changed", todo="change a box and press again")
    update_part(store(), changed, service.now())
    return f"{title(changed)} is changed."


def _with_photo(part: PartRecord, content: bytes) -> PartRecord:
    return replace(part, photo=store().files.keep(content))


@_form
def move(form: str, seen: PartRecord) -> str:
    """Say where a part is now."""
    with store().transaction():
        where = _place(form, None)
        if where in (seen.where, replace(seen.where, turned=None)):
            turned = ", or say how it is turned" if seen.kind == "propeller" else ""
            raise InputError(f"{seen.label} is there already", todo=f"choose where it is now{turned}")
        move_part(store(), seen, where, service.now(), (get(form, "words") or "").strip())
    place = f"on arm {where.arm}" if where.state == "fitted" else where.state
    return f"{title(seen)} is now {place}."


def _place(form: str, usual: State | None) -> Location:
    machine = get(form, "machine")
    found = get_machine(store(), machine) if machine else None
    arm = get(form, "arm")
    said: State | None = get(form, "state") or usual
    turned = state.get(turned_key(form)) if said == "fitted" else None
    if turned is not None and state.direction() == "with":
        turned = -turned
    return place_of(said, found, None if arm is None else int(arm), turned)


@_form
def happened(form: str, seen: PartRecord) -> str:
    """Say what happened to a part."""
    kind: EventKind | None = get(form, "kind")
    if kind is None:
        raise InputError("still missing: what happened", todo="choose it and press again")
    now = service.now()
    day: date | None = get(form, "day")
    get_part(store(), seen.id)
    note_event(store(), seen.id, kind, moment_of(day, now), now, (get(form, "words") or "").strip())
    return f"{HAPPENED[kind]}: this is kept in the story of {seen.label}."


@_form
def bare(form: str, seen: PartRecord) -> str:
    """Say that all pieces were taken off a part."""
    take_all_off(store(), seen, service.now())
    return f"Nothing is on {seen.label} now. It is due: its balance is another one without the pieces."


@_form
def new_machine(form: str) -> str:
    """Add a machine."""
    machine = typed_machine(form).new(service.now())
    add_machine(store(), machine)
    return f"{machine.name} is added."


@_form
def change_machine(form: str, seen: Machine) -> str:
    """Change what is said of a machine."""
    changed = typed_machine(form).onto(seen)
    if changed == seen:
        raise InputError("nothing is changed", todo="change a box and press again")
    update_machine(store(), changed, service.now())
    return f"{changed.name} is changed."
