"""Sentences about streams and their boards."""

SENTENCES = {
    "mark_column_flat": (
        "The mark column never changes, so there is no phase: check the pick-up, or use amplitudes only."
    ),
    "mark_resolution": "The mark's edge is known to {resolution_us:.0f} us only, one sample step.",
    "header_late": (
        "The header stands in line {line:.0f} only: what came before it was read with it all the same."
    ),
    "header_incomplete": "The header does not state {missing}: usual values were taken.",
    "headers_damaged": "Header lines that were damaged and not needed: {count:.0f}.",
    "headers_differ": (
        "Header lines that differ from the first one: {count:.0f}. If a setting was changed "
        "during the run, record again."
    ),
    "lines_unprotected": (
        "The lines of this stream carry no check, so a damaged number cannot be told from a "
        "good one: let the board send crc16."
    ),
    "lines_weakly_protected": (
        "The lines are protected by a two-digit check, which lets one damaged line in a "
        "hundred pass: crc16 is better."
    ),
    "lines_damaged": (
        "Damaged lines dropped: {damaged:.0f} of {lines:.0f} ({percent:.2g} %), the first one "
        "in line {first_line:.0f}."
    ),
    "device_message": "The board says ({count:.0f} times): {text}",
    "records_unknown": "Records of a kind unknown here were skipped: {count:.0f} ({letters}).",
    "samples_lost": (
        "Samples lost on the way: {lost:.0f} in {gaps:.0f} gaps ({percent:.2g} %). The gaps are left open."
    ),
    "samples_lost_silently": (
        "Samples lost inside the sensor, seen by the clock only: {lost:.0f} in {gaps:.0f} "
        "gaps ({percent:.2g} %): lower the sample rate or raise the line's speed."
    ),
    "packets_damaged": "Damaged packets dropped: {damaged:.0f} of {packets:.0f} ({percent:.2g} %).",
    "packets_missing": "Packets that were sent and did not come whole, by their numbers: {count:.0f}.",
    "last_packet_cut": "The last packet is not whole and was left out.",
    "sensor_faults": (
        "The board reports a fault of the sensor ({count:.0f} times): check its wiring and supply."
    ),
    "last_line_cut": "The last line is not whole and was left out.",
    "samples_implausible": "Samples with an impossible number, left out: {count:.0f}.",
    "lines_out_of_order": "Lines that came late and were put in their place: {count:.0f}.",
    "lines_repeated": "Lines that came twice and count once: {count:.0f}.",
    "marks_lost": "Marks lost on the way: {count:.0f}.",
    "sensor_overruns": "The sensor overran {count:.0f} times: lower the sample rate.",
    "device_records_lost": (
        "Records that the board could not send: {count:.0f}. Use a faster line or a lower sample rate."
    ),
    "device_marks_lost": (
        "Marks that the board could not send: {count:.0f}. Use a faster line or a lower sample rate."
    ),
    "stamps_off": ("Single time stamps that were off and were put where their neighbours say: {count:.0f}."),
    "samples_out_of_time": "Samples whose time runs backwards, left out: {count:.0f}.",
    "device_restarted": (
        "The board restarted {count:.0f} times during the recording; the parts were not joined up."
    ),
    "stamps_unsteady": (
        "The time stamps scatter by {scatter_us:.0f} us, more than half a sample: let the "
        "board take them in the sensor's interrupt."
    ),
    "rate_off": (
        "The sensor makes {measured_hz:.0f} samples a second where {announced_hz:.0f} are "
        "announced: check the header."
    ),
}
