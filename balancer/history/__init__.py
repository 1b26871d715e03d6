"""The history: every part's story, kept in one SQLite file with the recordings beside it.

The rooms:

    records      value objects: part, machine, event, stand, job, run; how they are written as plain data
    schema       the tables, a module per version; `migrations` brings an older store up to date
    connection   opening the file, and one sentence for whatever SQLite has to complain about
    files        recordings and photos as files named by digest
    store        the one door: `Store.open`, the one owner of transactions, `backup`
    tables       value objects to rows and back
    parts, events, stands, jobs, runs   what is done with them
    keeping      a whole job: its runs, what is on the part now, the event, the coefficient
    story        what the jobs of a part tell, like with like; what changed, what is due
    own          the parts' own unbalance, for matching
    queries      lists and pages of bounded cost
    removal      marks of removal, and the purge of what is marked
    archive      the whole store in one zip and back; `merge` joins it with what is there
    check        whether rows and files agree
    recompute    measures the stored recordings again
    example      a year of an invented craft on the simulated bench

Rows and archives carry the trade's units, named in every column and key; values are SI.
"""
