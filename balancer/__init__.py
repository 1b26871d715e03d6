"""Balancing of motor bells and propellers: from a recording to where the tape goes.

The rooms, in the order in which a measurement travels:

    errors, findings, units   ground: one error root, what was noticed, the trade's units against SI
    core                      the mathematics: marks to shaft angle, orders to vectors, vectors to an answer
    recording                 samples with their true times; one door for files, a module per format
    live                      what comes while it comes: sources by name, decoder, running 1x, recorder
    simulator                 a physical bench that makes recordings and can hide its truth
    procedure                 measuring, solving and placing: what is done with recordings and readings
    history                   parts, jobs and runs over the years, in SQLite, recordings beside it
    wording, figures          sentences and pictures of results, used by both faces
    report                    a part's card and a machine's sheet: HTML, CSV
    cli | app                 the two faces: the command line and the Streamlit display

Angles count against the rotation from the mark, seen from the front; SI inside, the trade's units at the
faces. DEVELOPERS.md holds the conventions.
"""

__version__ = "0.1.0"
