"""Parts and their stories: what is due, what happened, where each is, what is on it.

service            a list, a part and the machines as values; reports and recordings to take away
entries            what is typed about parts and machines, turned into records
words              lines and figures of the page
state              what the page remembers, and what its clicks do
listing, one_part  the list and the page of one part
forms, machines    what is said of a part, and of machines
"""
