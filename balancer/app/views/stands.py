"""The page of the stands, their sensors and what is known of them."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.plain import plain
from balancer.app.stands import check_show, service, state
from balancer.app.stands import show as parts
from balancer.errors import BalancerError
from balancer.history import stand_story

_VIEWS = {"stands": "Stands", "sensor": "Sensor check", "bench": "Bench check"}


def main() -> None:
    """Show the page."""
    show.style()
    with st.container(horizontal=True, vertical_alignment="center"):
        st.title("Stands", anchor=False, width="stretch")
        show.vibration_choice()
    view = show.choice("Show", _VIEWS, state.VIEW, quiet=True)
    show.trouble()
    try:
        found = stand_story.listed(state.store())
        shown = service.the_stand(state.store(), state.stand()) if state.stand() else None
    except BalancerError as error:
        st.error(plain(str(error)))
        return
    if view == "sensor":
        check_show.sensor()
    elif view == "bench":
        check_show.bench(found)
    elif shown is not None:
        parts.one_stand(shown)
    else:
        if state.stand():
            st.warning("The stand of this address is not in the history. Choose one of the list.")
        parts.stands(found)


if __name__ == "__main__":
    main()
