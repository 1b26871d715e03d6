"""The page of what the rotor on the bench does now."""

from __future__ import annotations

import streamlit as st

from balancer.app import show


def main() -> None:
    """Show the page."""
    show.style()
    st.title("Live", anchor=False)


if __name__ == "__main__":
    main()
