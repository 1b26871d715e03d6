"""How the list of parts looks: a line of columns on a laptop, a card on a phone; knows no part."""

from __future__ import annotations

import streamlit as st

_LIST = ".st-key-parts_list"
_ROW = f"{_LIST} [data-testid=stPageLink]"


def style() -> None:
    """Write the style: a part is one link, and its pieces are the cells of a grid."""
    st.html(
        f"<style>{_LIST}{{gap:.35rem!important}}{_LIST}>div,{_ROW} *{{margin:0!important}}"
        f"{_ROW} a{{border:1px solid rgba(128,128,128,.5);border-radius:.5rem;min-height:2.75rem;height:auto;"
        "padding:.45rem .8rem;margin:0;background:transparent}"
        f"{_ROW} a:hover{{border-color:currentColor}}"
        f"{_ROW} a *{{white-space:normal;overflow:visible;text-overflow:clip;max-width:none;font-weight:400}}"
        f"{_ROW} a strong{{font-weight:650}}"
        f"{_ROW} a span,{_ROW} a div{{width:100%}}"
        f"{_ROW} p{{display:grid;grid-template-columns:minmax(4rem,1fr) 4fr 4fr 4fr 3fr;gap:.1rem 1rem;"
        "font-size:1rem;overflow-wrap:anywhere}"
        f"{_ROW} em{{font-style:normal}}"
        f"@media (max-width:46rem){{{_ROW} p{{grid-template-columns:auto 1fr}}"
        f"{_ROW} p>:nth-child(n+2){{grid-column:1/-1}}"
        f"{_ROW} p>strong:first-child{{font-size:1.15rem}}}}</style>"
    )
