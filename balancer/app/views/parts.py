"""The page of the parts and their stories."""

from __future__ import annotations

import streamlit as st

from balancer.app import show


def main() -> None:
    """Show the page."""
    show.style()
    st.title("Parts", anchor=False)


if __name__ == "__main__":
    main()
