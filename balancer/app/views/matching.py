"""The page of which propeller belongs on which motor."""

from __future__ import annotations

import streamlit as st

from balancer.app import show


def main() -> None:
    """Show the page."""
    show.style()
    st.title("Matching", anchor=False)


if __name__ == "__main__":
    main()
