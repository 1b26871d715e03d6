"""What Streamlit runs: the frame of the page."""

from __future__ import annotations

from pathlib import Path

import streamlit as st


def main() -> None:
    """Set the page up and run it."""
    # a file of our own: Streamlit's named icons are fetched from the network here
    icon = Path(__file__).with_name("icon.svg")
    st.set_page_config(page_title="Balance a rotor", page_icon=str(icon), layout="wide")
    st.navigation([st.Page("views/balance.py", title="Balance a rotor")], position="hidden").run()


if __name__ == "__main__":
    main()
