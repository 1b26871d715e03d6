"""The parts of the page of recordings: findings, figures, charts."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import streamlit as st

from balancer.app import charts, show, state
from balancer.app.plain import Refusal, in_page_words, marked_orders, plain, with_signs
from balancer.app.recordings.ask import BOX
from balancer.app.recordings.service import Overview, unbalance_or_not
from balancer.app.recordings.shown_unit import sweep_drawn, sweep_in
from balancer.app.recordings.slow_readings import Sweep, Taps, read_decays, read_sweep, shown_angle
from balancer.app.waiting import when_done
from balancer.figures import standalone
from balancer.findings import Finding
from balancer.procedure.symptoms import Symptoms
from balancer.recording.model import Recording
from balancer.units import G_STANDARD, rpm_from_rad_s
from balancer.wording import finding_line, finding_text, significant, vector_text
from balancer.wording.symptoms import LOOKING_CAUTION

_FITTING = "The resonances are being fitted."
_BLADES = {-1: "not said", 0: "none", 2: "2", 3: "3", 4: "4", 5: "5", 6: "6"}


def understood(shown: Overview) -> None:
    """Say what the file was taken for."""
    first, *lines = (line.strip() for line in shown.understood)
    st.markdown(f"**{_words(first)}**")
    st.markdown("\n".join(f"- {_words(line)}" for line in lines))


def figures(shown: Overview) -> None:
    """Show speed and 1x of every channel."""
    measured = shown.measurement
    if measured is not None:
        rpm, low, high = (rpm_from_rad_s(s) for s in (measured.speed, measured.slowest, measured.fastest))
        part = "" if shown.cut is None else f" until the throttle was cut at {shown.cut:.1f} s"
        if shown.steady:
            st.markdown(
                f"**{rpm:.0f} rpm** ({low:.0f} to {high:.0f}){part}, {measured.revolutions:.0f} turns"
            )
            st.markdown(_table(shown))
            st.caption("± is a standard uncertainty. Share: of the vibration's power in that channel.")
        else:
            st.markdown(
                f"**{low:.0f} to {high:.0f} rpm**: the speed sweeps, so 1x is shown against it below."
            )
    for name, density in zip(shown.channels, shown.density, strict=False):
        floor = 1e6 * density / G_STANDARD
        st.markdown(f"- {plain(name)}: noise floor {significant(floor, 2)} µg/√Hz")


def _table(shown: Overview) -> str:
    rows = ["| Channel | 1x, peak | Share of 1x | Overall, rms |", "|---|---|---|---|"]
    assert shown.measurement is not None
    for index, channel in enumerate(shown.measurement.channels):
        unit = channel.unit
        if channel.once is None:
            once = f"{significant(channel.amplitude.value)} {unit} (± {significant(channel.amplitude.sd, 2)})"
        else:
            once = with_signs(vector_text(channel.once, unit, state.direction()))
        share = shown.share(index)
        percent = "" if share is None else f"{100 * share:.0f} %"
        cells = (channel.name, once, percent, f"{significant(channel.overall)} {unit}")
        rows.append("| " + " | ".join(_words(cell) for cell in cells).replace("± ", "±\u00a0") + " |")
    return "\n".join(rows)


def findings(found: Sequence[Finding]) -> None:
    """Show what was noticed with its severity in words, the serious first."""
    show.findings(found, finding_line)


def blades(key: str) -> int | None:
    """Ask for the number of blades, which the verdict and the spectrum need."""
    said = st.segmented_control(
        "Blades",
        list(_BLADES),
        default=-1,
        format_func=_BLADES.__getitem__,
        required=True,
        wrap=True,
        key=f"recordings_blades_{key[:8]}",
        persist_state="session",
    )
    return None if said < 0 else int(said)


@st.fragment
def is_it_unbalance(key: str, recording: Recording, blades: int | None) -> None:
    """Say what speaks for and against unbalance; its boxes leave the rest of the page alone."""
    first, second = st.columns(2)
    with first:
        magnets = st.number_input(
            "Magnets", 2, 60, None, 2, key=f"recordings_magnets_{key[:8]}", persist_state="session"
        )
    with second:
        names = [channel.name for channel in recording.channels]
        chosen = st.selectbox(
            "Channel along the shaft",
            [-1, *range(len(names))],
            format_func=lambda n: "not said, or none" if n < 0 else names[n],
            key=f"recordings_axial_{key[:8]}",
            persist_state="session",
        )
    axial = None if chosen < 0 else names[chosen]
    found = when_done(
        ("symptoms", key, blades, magnets, axial),
        lambda: unbalance_or_not(recording, blades, magnets, axial),
        "It is looked for what is not unbalance.",
    )
    if isinstance(found, Refusal):
        st.error(_words(found.text))
    elif isinstance(found, Symptoms):
        _part("Speaks for unbalance", found.speaks_for, finding_text)
        _part("Speaks against it, or for something else beside it", found.speaks_against, finding_line)
        _part("Cannot be told from this recording", found.untold, finding_text)
        st.warning(_words(LOOKING_CAUTION))


def _part(heading: str, found: Sequence[Finding], words: Callable[[Finding], str]) -> None:
    if found:
        st.markdown(f"**{heading}**")
        st.markdown("\n".join(f"- {_words(words(finding))}" for finding in found))


@st.fragment
def one_channel(key: str, shown: Overview, blades: int | None, tapped: Sequence[float]) -> None:
    """Show one channel, over the frequency and over the time; its boxes leave the rest of the page alone."""
    channel = _channel_choice(key, shown)
    st.subheader("Spectrum", anchor=False)
    _spectrum(shown, channel, blades)  # a fragment, too: its boxes leave the other chart alone
    st.subheader("Signal over the time", anchor=False)
    _over_time(shown, channel, tapped)


def _channel_choice(key: str, shown: Overview) -> int:
    if len(shown.channels) == 1:
        return 0
    return int(
        st.segmented_control(
            "Channel shown",
            range(len(shown.channels)),
            default=shown.strongest,
            format_func=lambda n: plain(shown.channels[n]),
            required=True,
            key=f"recordings_channel_{key[:8]}",
            persist_state="session",
        )
    )


@st.fragment
def _spectrum(shown: Overview, channel: int, blades: int | None) -> None:
    along = "Hz"
    with st.container(horizontal=True):
        if shown.orders:
            along = st.segmented_control(
                "Along",
                ["Hz", "order"],
                default="Hz" if shown.steady else "order",
                format_func=lambda way: "Frequency" if way == "Hz" else "Order",
                required=True,
                key=f"recordings_along_{shown.steady}",
                persist_state="session",
            )
        height = st.segmented_control(
            "Height",
            ["linear", "logarithmic"],
            default="linear",
            format_func=str.capitalize,
            required=True,
            key="recordings_height",
            persist_state="session",
        )
    curve = (shown.spectrum if along == "Hz" else shown.orders)[channel]
    name, unit = shown.channels[channel], shown.unit
    scale = 1.0
    if along == "Hz" and shown.measurement is not None:
        scale = shown.measurement.speed / (2 * np.pi)
    marked = [(scale * order, word) for order, word in marked_orders(blades)]
    known = shown.measurement is not None and (shown.steady or along == "order")
    highest = int(np.argmax(curve.values))
    words = f"Highest line of channel {name}: {significant(float(curve.values[highest]))} {unit} at " + (
        f"{curve.along[highest]:.1f} Hz." if along == "Hz" else f"order {curve.along[highest]:.2f}."
    )
    _chart(
        charts.spectrum_chart(
            curve.along,
            curve.values,
            title="Hz" if along == "Hz" else "order (multiple of the shaft speed)",
            unit=unit,
            marked=marked if known else (),
            logarithmic=height == "logarithmic",
        ),
        "Spectrum",
        words,
    )
    if along == "order" and not shown.orders_by_angle:
        st.caption("Orders by the mean speed: without marks the shaft angle is not known.")


def folded(shown: Overview) -> None:
    """Show every channel over a turn of the shaft."""
    turn = shown.folded
    assert turn is not None
    against = state.direction() == "against"
    st.caption(
        f"Mean of {turn.turns} turns (line) and their scatter (grey, one standard deviation each way), the "
        "mark at 0, time from left to right. An angle names the spot of the rotor that passes the pick-up."
    )
    reach = 1.3 * float(np.max(np.abs(turn.mean) + turn.scatter)) or 1.0
    for first in range(0, len(shown.channels), 3):
        columns = st.columns(3)
        for column, k in zip(columns, range(first, min(first + 3, len(shown.channels))), strict=False):
            with column:
                st.markdown(f"**{plain(shown.channels[k])}**")
                spec = charts.folded_chart(
                    np.degrees(turn.angles),
                    turn.mean[k],
                    turn.scatter[k],
                    unit=shown.unit,
                    against=against,
                    reach=reach,
                )
                _chart(spec, f"Channel {shown.channels[k]} over a turn of the shaft")


def _over_time(shown: Overview, channel: int, taps: Sequence[float]) -> None:
    marked = [(time, "tap") for time in taps]
    if shown.cut is not None:
        marked.append((shown.cut, "throttle cut"))
    curve = shown.signal[channel]
    spec = charts.line_chart(curve.along, curve.values, title="time, s", unit=shown.unit, marked=marked)
    low, high = (significant(float(v)) for v in (curve.values.min(), curve.values.max()))
    _chart(
        spec,
        "Signal over the time",
        f"Channel {shown.channels[channel]} goes from {low} to {high} {shown.unit}.",
    )


@st.fragment
def sweep(key: str, recording: Recording) -> None:
    """Show amplitude and phase against speed, resonances, the proposed speed; its box moves nothing else."""
    hover = st.number_input(
        "Hover speed of the craft (rpm)",
        100.0,
        60000.0,
        None,
        100.0,
        "%.0f",
        key=f"recordings_hover_{key[:8]}",
        persist_state="session",
        placeholder="not said",
        width=BOX,
    )
    found = when_done(("sweep", key, hover), lambda: read_sweep(recording, hover), _FITTING, slow=True)
    if isinstance(found, Refusal):
        st.info(_words(found.text))
    elif isinstance(found, Sweep):
        _sweep(sweep_in(found, state.vibration()))


def _sweep(found: Sweep) -> None:
    st.markdown(f"**{_words(found.proposal or 'No speed of this sweep is far enough from a resonance.')}**")
    st.markdown("\n".join(f"- {_words(line)}" for line in found.lines))
    marked = [(rpm, "resonance") for rpm in found.resonances_rpm]
    if found.hover_rpm is not None:
        marked.append((found.hover_rpm, "hover"))
    if found.proposed_rpm is not None:
        marked.append((found.proposed_rpm, "balance here"))
    against = state.direction() == "against"
    amplitude, phase = charts.sweep_charts(
        found.rpm,
        found.amplitudes,
        shown_angle(found.lags, against=against),
        [" ".join(name.split()) for name in found.channels],
        unit=found.unit,
        keep_out=found.keep_out_rpm,
        marked=marked,
    )
    _chart(
        amplitude,
        "Amplitude",
        "Amplitude of 1x against speed; dashed: speeds to note; shaded: too near to a resonance.",
    )
    _chart(phase, "Phase", f"Phase of 1x against speed, counted {state.direction()} the rotation.")
    findings(found.findings)
    st.download_button(
        "Picture (SVG)",
        standalone(sweep_drawn(found.read, state.vibration())),
        "run-up.svg",
        "image/svg+xml",
        key="recordings_svg",
        on_click="ignore",
    )


def taps(key: str, recording: Recording) -> tuple[float, ...]:
    """Show what rings after taps; give the times of the taps."""
    found = when_done(("taps", key), lambda: read_decays(recording), _FITTING, slow=True)
    if isinstance(found, Refusal):
        st.info(_words(found.text))
    elif isinstance(found, Taps):
        st.markdown("\n".join(f"- {_words(line)}" for line in found.lines))
        return found.times
    return ()


def _chart(spec: charts.Spec, name: str, words: str = "") -> None:
    """Put a chart on the page; its words stand above it, and are its name for those who cannot see it."""
    if words:
        st.caption(_words(words))
    st.vega_lite_chart(None, spec, width="stretch", alt=f"{name}. {words}")


def _words(text: str) -> str:
    """Make a sentence ready for the page: its boxes named, safe for Markdown whatever a file holds."""
    return plain(in_page_words(text))
