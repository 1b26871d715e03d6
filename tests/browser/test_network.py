"""The page on a phone in the workshop: from this computer's own address in its network, with the code."""

from __future__ import annotations

import re

import pytest

from balancer.errors import OperationError
from balancer.launch import Network
from tests.app_server import BALANCER_APP, running

pytestmark = pytest.mark.browser


def test_a_phone_types_the_code_and_works(chromium, tmp_path):
    try:
        address = Network.of_this_computer().addresses[0]
    except OperationError:
        pytest.skip("this computer has no address but its loopback")
    # of its own: the browser keeps that the code was right
    context = chromium.new_context(viewport={"width": 390, "height": 844}, color_scheme="dark")
    page = context.new_page()
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    with running(tmp_path, (*BALANCER_APP, "--network")) as server:
        code = re.search(r"code: (\d{3} \d{3})", server.log.read_text())[1]
        page.goto(f"http://{address}:{server.port}/recordings?angles=with")
        box = page.get_by_label("Code of six digits")
        box.fill("000000" if code != "000 000" else "000001")
        page.get_by_role("button", name="Open").click()
        page.get_by_text("That is not the code.").wait_for()
        page.screenshot(path=tmp_path / "code.png")
        box.fill(code)
        box.press("Enter")
        page.get_by_role("heading", name="Recordings", exact=True).wait_for()
        assert page.url.endswith("/recordings?angles=with")
        page.reload()  # no second time
        page.get_by_role("heading", name="Recordings", exact=True).wait_for()
        context.close()
    assert errors == []
