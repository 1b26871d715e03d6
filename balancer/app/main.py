"""What Streamlit runs: the frame of the pages."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from balancer.app import state
from balancer.app.plain import in_page_words, plain
from balancer.errors import BalancerError


def main() -> None:
    """Set the pages up and run the one that is asked for."""
    # a file of our own: Streamlit's named icons are fetched from the network here
    icon = Path(__file__).with_name("icon.svg")
    st.set_page_config(page_title="Balance a rotor", page_icon=str(icon), layout="wide")
    pages = [
        st.Page("views/balance.py", title="Balance a rotor", default=True),
        st.Page("views/live.py", title="Live"),
        st.Page("views/recordings.py", title="Recordings"),
        st.Page("views/parts.py", title="Parts"),
        st.Page("views/matching.py", title="Matching"),
        st.Page("views/stands.py", title="Stands"),
    ]
    page = st.navigation(pages, position="top")
    state.arrive(page.url_path)
    try:
        page.run()
    except BalancerError as error:  # no page shows more than a sentence, wherever its trouble arises
        st.error(plain(in_page_words(str(error))))


if __name__ == "__main__":
    main()
