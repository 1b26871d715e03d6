"""Sentences about what was understood of foreign files."""

SENTENCES = {
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
}
