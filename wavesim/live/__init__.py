"""The live bench: a scene that is turned by hand, in a browser or a notebook.

    handles      what of a scene can be turned, made from its schema
    session      a bench: its scene, what was turned, what it shows
    views        rows of the plate while a hand turns
    marks        orders, minima and angles beside it
    protocol     what a page asks and is answered; no sockets
    server       door one: a web page (starlette, uvicorn)
    notebook     door two: a widget (anywidget)

The page itself is `data/bench.js`, one module for both doors.
"""
