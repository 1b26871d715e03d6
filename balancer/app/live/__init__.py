"""Live values: what the rotor on the bench does now.

sources        names of sources, and words for them
words          what the bench and its findings say
message        what is sent to the browser, as bytes
route          the way it is sent: a WebSocket beside the pages
picture        the canvas that draws it (`picture.html`, `.css`, `.js`)
plain_picture  the same as a drawing, where the canvas cannot be had
state          what the page remembers, and what its clicks do
ask, page      the source to choose; the page
"""
