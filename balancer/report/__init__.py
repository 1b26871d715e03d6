"""Reports: a part's card and a machine's sheet, to print, for scripts, and for a spreadsheet.

    card       what a report says, as frozen value objects
    outcome    what a job amounted to: before, after, the 1x vectors
    gather     from the history to a card or a sheet
    drawings   the pictures of a card
    markup     text to HTML: the one place where it is escaped
    sections   the parts of a page
    page       whole pages, with `style`
    table      CSV

The JSON object is in `contract.report`, the words are in `wording.report`.
"""
