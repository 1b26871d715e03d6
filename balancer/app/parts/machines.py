"""The machines: what is on each arm, sheets to take away, adding and changing one."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.parts import service, state, words
from balancer.app.parts.entries import TypedMachine
from balancer.app.parts.forms import told
from balancer.app.plain import plain
from balancer.app.state import direction
from balancer.history.machines import list_machines
from balancer.history.records.machine import LONGEST_NAME, Machine
from balancer.report.files import SUFFIXES

_NEW = TypedMachine()
_MOST_ARMS = 24


def section() -> None:
    """Show all machines."""
    show.box("Machines", "machines", _machines)


def _machines() -> None:
    found = list_machines(state.store())
    if not found:
        show.sentence("No machine yet. Parts go on its arms, and its sheet tells how all of them stand.")
    for machine in found:
        with st.container(border=True):
            _machine(machine)
    with st.container(border=True):
        st.markdown("**Add a machine**")
        _boxes("machine", _NEW)
        told("machine")
        key = state.key("machine", "do")
        st.button("Add this machine", key=key, on_click=state.new_machine, args=("machine",))


def _machine(machine: Machine) -> None:
    st.markdown(f"**{plain(machine.name)}**")
    if machine.words:
        show.small(machine.words)
    there = service.on_arms(state.store(), machine)
    show.points([words.arm_line(machine, number, parts) for number, parts in there.items()])
    with st.container(horizontal=True):
        for suffix in SUFFIXES:
            label, mime = words.FILES[suffix]
            st.download_button(
                label.replace("Report", "Sheet"),
                service.machine_report(state.store(), machine.id, suffix, direction()),
                words.report_file(machine.name, service.now(), suffix),
                mime,
                key=f"sheet_{machine.id}_{suffix}",
                on_click="ignore",
            )
    form = f"machine_{machine.id}"
    if _changing(form):
        _boxes(form, TypedMachine.of(machine))
        told(form)
        st.button(
            "Change this machine",
            key=state.key(form, "do"),
            on_click=state.change_machine,
            args=(form, machine),
        )


def _changing(form: str) -> bool:
    return bool(
        st.segmented_control(
            "What to do with it",
            ["Look at it", "Change it"],
            default="Look at it",
            required=True,
            key=state.key(form, "open"),
            label_visibility="collapsed",
        )
        == "Change it"
    )


def _boxes(form: str, now: TypedMachine) -> None:
    state.fill(form, now)
    name, arms = st.columns([2, 1])
    with name:
        st.text_input("Name", max_chars=LONGEST_NAME, key=state.key(form, "name"), persist_state="session")
    with arms:
        count = st.number_input(
            "Arms", 1, _MOST_ARMS, None, 1, key=state.key(form, "arms"), persist_state="session"
        )
    if count:
        state.turning(form)
        st.segmented_control(
            "These turn clockwise, seen from the front",
            range(1, count + 1),
            selection_mode="multi",
            key=state.key(form, "clockwise"),
            persist_state="session",
        )
    st.text_input("What else there is to say", key=state.key(form, "words"), persist_state="session")
