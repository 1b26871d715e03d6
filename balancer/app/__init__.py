"""The display: the guided job, live values, recordings, parts and stands, on this computer.

The rooms, from the pure to the page:

    plain           text made safe, and what more than one page shows, as values; knows no Streamlit
    services        what stands behind the pages: the person's data and the bench; knows no Streamlit
    state           what every page remembers; each room has a `state` of its own, and nothing else remembers
    show, charts    findings, figures, pictures and files put on a page; charts as plain data
    guided/         the guided job: entries, trainer, keeping, changes, words; start and steps are its pages
    recordings/     what a file holds and what it shows
    server          what is run: the frame of the pages and what a page cannot be
    main, views     the pages themselves: thin sheets that read, call and show
"""
