"""What the server runs: the pages, and beside them what a page cannot be."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

app = st.App(Path(__file__).with_name("main.py"))
