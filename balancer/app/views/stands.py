"""The page of the stands, their sensors and what is known of them."""

from __future__ import annotations

import streamlit as st

from balancer.app import show


def main() -> None:
    """Show the page."""
    show.style()
    st.title("Stands", anchor=False)


if __name__ == "__main__":
    main()
