"""The page of the parts and their stories: the list, or the one part that the address names."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.parts import listing, one_part, state
from balancer.app.parts.style import style
from balancer.app.plain import plain
from balancer.errors import BalancerError


def main() -> None:
    """Show the page."""
    show.style()
    style()
    state.show_address()
    id = state.part_id()
    try:
        if id and state.there(id):
            one_part.page(id)
            return
        st.title("Parts", anchor=False)
        if id:
            st.warning("The part of this address is not in the history. Choose one of the list.")
        listing.page()
    except BalancerError as error:
        st.error(plain(str(error)))


if __name__ == "__main__":
    main()
