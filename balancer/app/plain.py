"""Text made safe for a page, and what more than one page shows, as values; knows no Streamlit."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from balancer.wording.basics import Direction, angle_text

_NOT_SHOWN = frozenset({"Cc", "Cs"})  # control characters, and halves of characters
_TURNS_ORDER = re.compile("[\u202a-\u202e\u2066-\u2069]")
_MADE_OF_WORDS = re.compile(r":/(?=/)|www(?=\.)|@(?=\w)|:(?=streamlit:)|[-<>=~](?=[-<>=])", re.IGNORECASE)
_DEGREES = re.compile(r"(?<=\d) deg\b")
_SQUARE = re.compile(r"(?<=m/s|g/m)\^2\b")
_LABELS: Mapping[str, str] = MappingProxyType(
    {
        "--time-unit": "“Time unit”",
        "--unit": "“Unit of the accelerations”",
        "--rate": "“Samples a second”",
        "--stamps": "“Time stamps”",
        "--marks": "“Mark times”",
        "--wav-scale": "“Full scale”",
        "--mark-channel": "“Channel of the mark”",
        "--blades": "“Blades”",
        "--magnets": "“Magnets”",
        "--axial": "“Channel along the shaft”",
        "--rpm": "“Expected speed”",
    }
)
_SAID: Mapping[str, str] = MappingProxyType(
    {
        ", or a recording of a known vibration with --calibration and --calibration-rms": "",
        "--stamps sensor": "--stamps of sampling",
        "--stamps arrival": "--stamps of arrival",
        ", or give the speed with --baud": "",
        "see balancer ports for those that are there": "look again which ports are there",
        "see balancer ports": "look again which ports are there",
        "with --on BELL": "with its bell named",
        ", and keep the jobs with job save": ", and keep the jobs",
    }
)


@dataclass(frozen=True)
class Headline:
    """A figure shown large: what it is with its unit, its value, and a sentence of explanation."""

    label: str
    value: str
    help: str


@dataclass(frozen=True)
class Download:
    """A file to take away."""

    label: str
    name: str
    mime: str
    text: str


@dataclass(frozen=True)
class Refusal:
    """Why something cannot be read or answered: one sentence with the place and what to do."""

    text: str


def plain(text: str) -> str:
    r"""Make any text safe for Markdown: it comes out as written, whatever a file or a person put in.

    Some things are made of words only after Markdown was read: a web address becomes a link, ``->`` an arrow,
    ``:streamlit:`` a picture. An invisible word joiner (U+2060) keeps these signs apart. Marks that turn the
    order of all that follows (U+202A to U+202E, U+2066 to U+2069) are left out; what no page can hold is
    shown as U+FFFD.

    Examples
    --------
    >>> plain("*bold* ![](a)")
    '\\*bold\\* \\!\\[\\]\\(a\\)'
    >>> plain("www.example.com").count("\u2060")
    1
    """
    shown = "".join("\ufffd" if unicodedata.category(c) in _NOT_SHOWN else c for c in " ".join(text.split()))
    apart = _MADE_OF_WORDS.sub("\\g<0>\u2060", _TURNS_ORDER.sub("", shown))
    return re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", apart)


def in_page_words(text: str) -> str:
    """Name what is on the page where a sentence names commands or options of the command line; write signs.

    Examples
    --------
    >>> in_page_words("say it with --unit")
    'say it with “Unit of the accelerations”'
    """
    for command, here in _SAID.items():
        text = text.replace(command, here)
    return with_signs(re.sub(r"--[a-z-]+", lambda found: _LABELS.get(found[0], found[0]), text))


def with_signs(text: str) -> str:
    """Write degrees and squares as a page does; the command line has to do with what every terminal knows.

    Examples
    --------
    >>> with_signs("2.27 m/s^2 at 115 deg, all degrees")
    '2.27 m/s² at 115°, all degrees'
    """
    return _SQUARE.sub("²", _DEGREES.sub("°", text))


def degrees(angle: float, direction: Direction) -> str:
    """Write an angle in rad in degrees, counted as the person chose."""
    return with_signs(angle_text(angle, direction))


def marked_orders(blades: int | None) -> tuple[tuple[float, str], ...]:
    """Give the orders to mark in a spectrum, with their names.

    Examples
    --------
    >>> marked_orders(2), marked_orders(3)
    (((1.0, '1x'), (2.0, '2x, blade pass')), ((1.0, '1x'), (2.0, '2x'), (3.0, 'blade pass')))
    """
    names = {1: "1x", 2: "2x"}
    if blades:
        names[blades] = f"{names[blades]}, blade pass" if blades in names else "blade pass"
    return tuple((float(order), names[order]) for order in sorted(names))
