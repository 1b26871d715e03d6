"""The display: a guided job on this computer, from the cautions to the verdict, and a look at recordings.

The rooms, from the pure to the page:

    entries         what a person types, as values; knows no Streamlit
    trainer         the simulated bench to train on, with all that it hides; knows no Streamlit
    keeping         the jobs on disk, a file for each, and what follows from each; knows no Streamlit
    changes         what a click changes in a job; knows no Streamlit
    words           sentences, figures and pictures that only the page needs; knows no Streamlit
    state           the only module that touches what the page remembers
    show            pictures, findings, figures and files put on the page
    start, steps    the start page; what is done at each step
    recording_...   the page of recordings, with its charts
    main, views     the pages themselves: thin sheets that read, call and show
"""
