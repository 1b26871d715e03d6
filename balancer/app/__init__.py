"""The display: the guided job, live values, recordings, parts and stands, on this computer.

What all rooms share, from the pure to the page:

    plain           text made safe, and what more than one page shows, as values; knows no Streamlit
    typed           what a person typed: units, and what is missing; knows no Streamlit
    services        what stands behind the pages: the history and the bench; knows no Streamlit
    worker          work that takes longer than a page may, done beside it; knows no Streamlit
    access, door    who may open the pages; every request passes there
    state           what every page remembers; each room has a `state` of its own, and nothing else remembers
    show, charts    findings, figures, pictures and files put on a page; charts as plain data
    waiting         what is shown while the worker works
    server          what is run: the frame of the pages and what a page cannot be
    main, views     the pages themselves: thin sheets that read, call and show

The rooms, each with its pure modules first in its own map:

    bench/          the source in use: the process that records, its file, the thread that follows it
    guided/         the guided job
    live/           what the rotor does now
    recordings/     what a file holds and what it shows
    parts/          parts and their stories
    matching/       which propeller belongs on which motor
    stands/         stands, their sensors, what is known of them
"""
