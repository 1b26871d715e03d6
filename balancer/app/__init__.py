"""The display: one Streamlit page on this computer, from the cautions to the check run.

The rooms, from the pure to the page:

    launch        starts the server, with every safety setting as a flag
    services      jobs and their results as values; knows no Streamlit
    words         sentences and figures that only the page needs; knows no Streamlit
    state         the only module that touches what the page remembers
    show          pictures, findings, figures and downloads put on the page
    bench, files  the two ways to recordings: the simulated bench, the person's own files
    main, views   the page itself: thin sheets that read, call and show
"""
