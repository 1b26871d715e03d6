"""House rules of the display that can be checked."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import pytest
import streamlit as st

import balancer

PACKAGE = Path(balancer.__file__).parent
MODULES = {path.relative_to(PACKAGE).as_posix(): path.read_text() for path in PACKAGE.rglob("*.py")}
APP = {name: text for name, text in MODULES.items() if name.startswith("app/")}


def calls():
    """Every `st.name(..., keyword=...)` of the display: the name and its keywords."""
    for text in APP.values():
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and re.fullmatch(r"st\.\w+", ast.unparse(node.func)):
                yield ast.unparse(node.func).removeprefix("st."), tuple(k.arg for k in node.keywords if k.arg)


@pytest.mark.parametrize(("name", "keywords"), sorted(set(calls())))
def test_streamlit_has_every_name_and_keyword_that_is_used(name, keywords):
    assert set(keywords) <= set(inspect.signature(getattr(st, name)).parameters)


def importers(module):
    for name, text in MODULES.items():
        for node in ast.walk(ast.parse(text)):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            if any(n == module or n.startswith(module + ".") for n in names):
                yield name


def test_only_the_display_imports_streamlit():
    found = set(importers("streamlit"))
    assert found <= {*APP, "launch.py"}  # what starts the server, and the page
    pure = {"entries", "service", "words", "plain", "services", "access", "door", "worker"}
    pure |= {"units_shown", "shown_unit"}
    pure |= {
        "trainer",
        "keeping",
        "changes",
        "begin",
        "back",
        "capture",
        "link",
        "link_words",
        "stored",
        "run_files",
    }
    assert pure <= {Path(name).stem for name in APP}
    assert not {Path(name).stem for name in found} & pure
    assert not {name for name in found if name.startswith("app/bench/")}


def test_the_display_asks_the_history_and_speaks_no_sql():
    assert [name for name, text in APP.items() if re.search(r"SELECT|PRAGMA|store\.rows?\(", text)] == []


def test_only_modules_named_state_remember():
    assert [
        name for name, text in APP.items() if "session_state" in text and not name.endswith("/state.py")
    ] == []


def test_html_goes_through_one_door():
    doors = [name for name, text in APP.items() for _ in range(text.count("unsafe_allow_html=True"))]
    assert doors == ["app/show.py"]


def test_every_widget_has_a_key():
    widgets = {"button", "segmented_control", "number_input", "selectbox", "text_input"}
    widgets |= {"file_uploader", "download_button", "popover"}
    assert [name for name, keywords in calls() if name in widgets and "key" not in keywords] == []


def test_no_folder_has_the_name_that_streamlit_takes_for_its_own_menu():
    assert not (PACKAGE / "app" / "pages").exists()
