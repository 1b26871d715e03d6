"""The list of parts: what is due at once, filters, and a line for each that opens it."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from balancer.app import show
from balancer.app.parts import forms, machines, service, state, words
from balancer.app.parts.service import Listing
from balancer.app.plain import plain
from balancer.history.machines import list_machines

PAGE = "views/parts.py"

_SHOWN = {"all": "All parts", "due": "What is due"}


def page() -> None:
    """Show the list."""
    wish = state.wish()
    found = service.listing(state.store(), wish, service.now())
    forms.done()
    if found.all:
        _head(found, wish.months)
    else:
        _empty()
    # above the list, which may be long
    forms.add()
    machines.section()
    if found.all:
        _filters()
        _parts(found)


def _empty() -> None:
    show.sentence(
        "No parts yet. Add the first below: a propeller, a motor bell or an adapter, with what is written "
        "on its tape. Its jobs, crashes and checks then become its story."
    )
    show.sentence("Or look at an example first: a year of an invented craft, in a folder of its own.")
    st.code("balancer demo --home example\nbalancer app --home example", language=None)


def _head(found: Listing, months: int) -> None:
    text = plain(words.count_text(found, months))
    (st.warning if found.all_due else st.success)(text)


def _filters() -> None:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        _choice("Shown", _SHOWN, state.SHOWN, "all")
        st.text_input(
            "Label",
            state.said(state.FIND),
            max_chars=12,
            key=state.filter_key(state.FIND),
            on_change=state.keep_filters,
            placeholder="part of a label",
            width=170,
        )
        with st.popover("More filters", key="parts_filters"):
            _choice("Kind", {"": "All", **words.KINDS}, state.KIND, "")
            _choice("Where", {"": "All", **words.STATES}, state.STATE, "")
            _machine()
            st.number_input(
                "Due after so many months",
                1,
                120,
                state.months(),
                key=state.filter_key(state.MONTHS),
                on_change=state.keep_filters,
            )
            st.button("Forget all filters", key="parts_forget", on_click=state.forget_filters)


def _choice(label: str, options: Mapping[str, str], name: str, usual: str) -> None:
    chosen = state.said(name)
    st.segmented_control(
        label,
        list(options),
        default=chosen if chosen in options else usual,
        format_func=options.__getitem__,
        required=True,
        key=state.filter_key(name),
        on_change=state.keep_filters,
        label_visibility="collapsed" if name == state.SHOWN else "visible",
    )


def _machine() -> None:
    known = {one.id: one.name for one in list_machines(state.store())}
    if known:
        ids = ["", *known]
        chosen = state.said(state.MACHINE)
        st.selectbox(
            "Machine",
            ids,
            index=ids.index(chosen) if chosen in ids else 0,
            format_func=lambda id: known.get(id, "All"),
            key=state.filter_key(state.MACHINE),
            on_change=state.keep_filters,
        )


def _parts(found: Listing) -> None:
    show.small(words.listed_text(found))
    with st.container(key="parts_list", gap=None):
        for part in found.parts:
            st.page_link(
                PAGE,
                label=words.row_text(part, found.before),
                query_params=state.address(part=part.id),
                width="stretch",
            )
    if len(found.parts) < found.found:
        st.button("More", key="parts_more", on_click=state.more)
