"""The guided job: from the cautions to the verdict.

trainer                the simulated bench to train on, with all that it hides
entries                what a person types about a part, turned into values
begin                  a job on a part of the history: what is known, what is missing
keeping                the jobs on disk, a file for each; every change goes through here
run_files, back        beside a job's file: recordings of its runs, what was said before
link, stored           what ties a job to the history, and the stored coefficient it was given
changes, capture       what a click changes in a job; a run recorded by itself when the speed is steady
words, link_words      sentences and figures of the page
state, live_clicks     what the page remembers and what its clicks do
start, own, steps,     the parts of the page
on_rotor, live_run,
link_show, boxes
"""
