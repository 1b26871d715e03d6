"""The sentence for each code of a finding, with places for its figures."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

SENTENCES: Mapping[str, str] = MappingProxyType(
    {
        "columns_ignored": "Columns that were not used: {names}.",
        "encoding_assumed": (
            "The text is neither UTF-8 nor UTF-16 and was read as {text}: check the names of the columns."
        ),
        "rows_repeated": "Rows that came twice and count once: {count:.0f}.",
        "rows_out_of_order": "Rows that were out of order and were put in their place: {count:.0f}.",
        "stamps_rounded": (
            "The time stamps are rounded to {resolution_us:.0f} us; the uniform rate fitted to them, "
            "{rate_hz:.2f} Hz, was used."
        ),
        "stamps_uneven": (
            "The time stamps scatter by {jitter_us:.0f} us about {rate_hz:.1f} Hz; they were kept, since "
            "they fit the signal or the scatter is small."
        ),
        "stamps_of_arrival": (
            "The time stamps scatter by {jitter_us:.0f} us and are of arrival, not of sampling: the "
            "uniform rate fitted to them, {rate_hz:.2f} Hz, was used. The mark must be recorded along "
            "with the samples."
        ),
        "stamps_unclear": (
            "The time stamps scatter by {jitter_us:.0f} us about {rate_hz:.1f} Hz, and no line of the "
            "signal tells whether they are of sampling or of arrival. They were kept: say --stamps sensor "
            "or --stamps arrival."
        ),
        "phase_refused": (
            "The marks of the other file were not used: the samples' time stamps are off by "
            "{jitter_us:.0f} us, so every phase would be a guess. Record the mark along with the "
            "vibration, use amplitudes only, or say --stamps sensor if they are of sampling."
        ),
        "marks_from_file": (
            "{count:.0f} marks were taken from a file of their own: phases hold only if both files keep "
            "one clock."
        ),
        "clipped": (
            "Channel {channel} is cut off at {level_m_s2:.3g} m/s^2 in {count:.0f} samples ({percent:.2g} "
            "%): choose a larger range, or a lower speed."
        ),
        "values_held": (
            "{percent:.0f} % of the samples repeat the one before in every channel: the board reads "
            "faster than the sensor makes new values. Lower the rate, or open the sensor's filter."
        ),
        "scale_off": (
            "The mean of the three axes is {mean_m_s2:.3g} m/s^2, {ratio:.3g} times gravity: check the "
            "unit (0.102: g taken for m/s^2; 9.81: the other way round) and the range setting (factors of "
            "2)."
        ),
        "gravity_taken_out": (
            "The mean of the three axes is {mean_m_s2:.2g} m/s^2: gravity was taken out of this signal, "
            "so its scale cannot be checked against it. Raw acceleration is better, if the app offers it."
        ),
        "rate_too_low": (
            "{rate_hz:.0f} samples a second are few for {speed_rpm:.0f} rpm: use {wanted_hz:.0f} or more, "
            "or a lower speed."
        ),
        "alias_above_nyquist": (
            "{rate_hz:.0f} samples a second cannot show {speed_rpm:.0f} rpm, it appears as "
            "{apparent_rpm:.0f} rpm: use a higher rate or a lower speed."
        ),
        "alias_on_1x": (
            "At {rate_hz:.0f} samples a second order {names} of {speed_rpm:.0f} rpm appears at once per "
            "rev: change the speed by 3 %, and believe 1x only if it stays."
        ),
        "speed_alias": (
            "At {rate_hz:.0f} samples a second {speed_rpm:.0f} rpm looks like {others_rpm} rpm: say the "
            "expected speed (--rpm), and use a higher rate if it is one of the others."
        ),
        "noise_usual": (
            "The noise floor of channel {channel} is {density_ug:.0f} ug/sqrt(Hz), usual for its class "
            "({low_ug:.0f} to {high_ug:.0f} in data sheets)."
        ),
        "noise_high": (
            "The noise floor of channel {channel} is {density_ug:.0f} ug/sqrt(Hz), against {low_ug:.0f} to "
            "{high_ug:.0f} in data sheets of usual sensors: check supply, wiring, and that nothing shakes."
        ),
        "noise_low": (
            "The noise floor of channel {channel} is {density_ug:.2g} ug/sqrt(Hz), below the {low_ug:.0f} "
            "to {high_ug:.0f} of usual sensors: a filter, or a wrong scale, unless yours is a quiet one."
        ),
        "marks_too_few": (
            "Only {count:.0f} marks came in {duration_s:.1f} s: set the pick-up nearer, or clean the mark."
        ),
        "not_measured": "No 1x vector comes from this recording: {text}.",
        "too_few_revolutions": (
            "The 1x amplitude of channel {channel} is known to {have_percent:.2g} %, not to the "
            "{want_percent:.2g} % asked for: record about {needed:.0f} revolutions instead of "
            "{revolutions:.0f}."
        ),
        "mains_beside_1x": (
            "Channel {channel} has a line of {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz, a multiple "
            "of the mains, beside 1x at {once_hz:.1f} Hz ({share_percent:.0f} % of it): run on battery, "
            "lay the wires apart, or change the speed."
        ),
        "line_beside_1x": (
            "Channel {channel} has a line of {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz beside 1x at "
            "{once_hz:.1f} Hz ({share_percent:.0f} % of it) that does not turn with the shaft: look for "
            "another machine, or change the speed."
        ),
        "mains_at_rest": (
            "At rest channel {channel} shows {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz, a multiple "
            "of the mains: run on battery, and lay the wires apart."
        ),
        "line_at_rest": (
            "At rest channel {channel} shows {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz: look for what "
            "is running nearby."
        ),
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
            "Samples lost on the way: {lost:.0f} in {gaps:.0f} gaps ({percent:.2g} %). The gaps "
            "are left open."
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
        "stamps_off": (
            "Single time stamps that were off and were put where their neighbours say: {count:.0f}."
        ),
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
        "marks_missed": ("Marks that did not come and were bridged: {count:.0f} (beside {of:.0f} that did)."),
        "marks_doubled": ("Double edges taken out of the marks: {count:.0f} (beside {of:.0f} good ones)."),
        "marks_not_countable": (
            "Turns could not be counted between the marks at {count:.0f} places; the samples "
            "there were left out."
        ),
        "marks_unreliable": (
            "{percent:.0f} % of the marks are missing or false: clean the mark, set the pick-up "
            "nearer and record again."
        ),
        "marks_jitter": (
            "The marks jitter by {jitter_deg:.1f} degrees: shade the pick-up from other light and "
            "fix it firmly."
        ),
        "zero_mark_unknown": (
            "The marks are so evenly spaced that none can be told from the others, so phases of "
            "different runs do not belong together: use one mark, or make one space wider."
        ),
        "mark_resolution_coarse": (
            "The mark is known to one sample step only, {step_deg:.0f} degrees at this speed: 1x reads "
            "about {low_percent:.1f} % low and phases scatter. Use a higher rate, or a mark stamped by "
            "its own edge."
        ),
        "speed_unsteady": (
            "The speed varied by {spread_percent:.0f} % during the run: hold the throttle still "
            "and record again."
        ),
        "few_revolutions": "Only {revolutions:.0f} revolutions: record longer for a surer answer.",
        "noise_near_1x": (
            "Channel {channel} is {ratio:.0f} times as unsure as its noise elsewhere would make "
            "it: something shakes at nearly the shaft speed, or the speed wanders near a "
            "resonance of the stand. A speed 3 % higher or lower may be quieter."
        ),
        "channel_flat": "Channel {channel} never changes: check the sensor.",
        "speed_from_spectrum": (
            "There are no marks: {speed_rpm:.0f} rpm is the strongest line of the spectrum."
        ),
        "speed_ambiguous": (
            "Other lines are nearly as strong ({others_rpm} rpm): if {speed_rpm:.0f} rpm is not "
            "the speed, say the right one."
        ),
        "speeds_differ": (
            "The runs differ in speed by {spread_percent:.1f} %: phase and amplitude are only "
            "comparable at one speed, so repeat the odd run."
        ),
        "speed_not_as_stated": "The speed was {off_percent:.0f} % off the one stated in the runs file.",
        "reading_uncertainty_assumed": (
            "The uncertainty of the typed readings was taken from their last digit, which is the "
            "least it can be: add sd_amplitude and sd_phase_deg if you know better."
        ),
        "trial_effect_unclear": (
            "The effect of the trial mass is known to {doubt_percent:.0f} % only: do not use this "
            "answer, repeat with a larger trial mass or longer runs."
        ),
        "trial_effect_small": (
            "The trial mass changed the vibration by {effect_percent:.0f} % of the as-is vector, "
            "less than 30 % or 30 degrees: a larger one gives a surer answer."
        ),
        "runs_disagree": (
            "The runs scatter {ratio:.1f} times more than their noise: look for a piece that came "
            "off, a loose stand, another speed; the uncertainty was widened accordingly."
        ),
        "channel_left_over": (
            "One unbalance cannot explain all channels: {share_percent:.0f} % of channel "
            "{channel} will stay. Part of this vibration is not unbalance."
        ),
        "two_candidates": (
            "{candidates:.0f} corrections fit these readings equally well: one more run, with the "
            "trial mass at another place or with one candidate fitted, decides."
        ),
        "amplitudes_disagree": (
            "The amplitudes fit together only to {mismatch_percent:.0f} %: repeat the runs at one "
            "speed, without moving the stand."
        ),
    }
)
"""What `wording.finding_text` fills in; every code that is made has one."""
