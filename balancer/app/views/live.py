"""The page of what the rotor on the bench does now."""

from __future__ import annotations

from balancer.app import show
from balancer.app.live import ask, page, state, words


def main() -> None:
    """Show the page."""
    show.style()
    view = state.bench().view()
    page.head()
    show.trouble()
    if view.busy:
        ask.running(view)
    else:
        page.begin(view)
    if view.state != "off":
        page.picture(view)
    page.numbers(words.standing(view))


if __name__ == "__main__":
    main()
