"""House rules that can be checked, are."""

import ast
import re
import textwrap
from pathlib import Path

import pytest

from balancer.cli import commands
from balancer.findings import Finding
from balancer.recording.files import read_bytes
from balancer.wording import finding_text

ROOT = Path(__file__).parent.parent
MODULES = sorted((ROOT / "balancer").rglob("*.py"))
README = (ROOT / "README.md").read_text(encoding="utf-8")


def findings_made():
    """Every `Finding.of(code, severity, name=...)` in the package: code and names of its figures."""
    for module in MODULES:
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "Finding.of":
                names = tuple(k.arg for k in node.keywords if k.arg)
                if isinstance(node.args[0], ast.Constant):
                    yield node.args[0].value, names


@pytest.mark.parametrize(("code", "names"), sorted(set(findings_made())))
def test_every_finding_has_a_sentence_that_uses_its_figures(code, names):
    # "Words." serves where a figure is text, 1.5 where it is a number: both must come out as a sentence
    worded = {"text": "Words.", "names": "a, b", "letters": "ax", "missing": "unit", "channel": "x"}
    figures = tuple((name, worded.get(name, 1.5)) for name in names)
    text = finding_text(Finding(code, "info", figures))
    assert re.fullmatch(r"[A-Z0-9].*[.?]", text, flags=re.DOTALL)
    assert "{" not in text


@pytest.mark.parametrize("module", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_size_budget(module):
    tree = ast.parse(module.read_text(encoding="utf-8"))
    assert module.read_text(encoding="utf-8").count("\n") < 500
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            docstring = node.body[0].end_lineno - node.body[0].lineno + 1 if ast.get_docstring(node) else 0
            assert node.end_lineno - node.lineno + 1 - docstring <= 60, node.name


def test_readme_names_every_command_and_no_other():
    named = set(re.findall(r"`balancer (\w+)", README))
    assert named == set(commands.commands)


def test_readme_opens_with_the_job_and_has_one_test_command():
    assert README.splitlines()[2].startswith("You build or repair camera multirotors")
    assert len(re.findall(r"^ +python3 -m venv .*pytest$", README, flags=re.MULTILINE)) == 1


def test_the_stream_file_in_the_readme_can_be_read():
    block = re.search(
        r"(?:^    .*\n)+", README[README.index("    # balancer stream 1") :], flags=re.MULTILINE
    )[0]
    recording = read_bytes(textwrap.dedent(block).encode(), "README.md")
    assert recording.samples[0] == pytest.approx([12 * 0.0383, 14 * 0.0383])
    assert recording.marks == pytest.approx([210e-6])
