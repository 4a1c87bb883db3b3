"""Studies: what a scene will show, how good its ruling is, and what a plate tells.

    formulas     closed forms of gratings and their errors
    predict      a scene's orders, ghosts, widths and limits, from formulas alone
    profile      the line profile of one wavelength and order, over ten decades
    tolerance    how large an error may be

Each study is imported by its own name; nothing heavy is loaded before it is used.
"""
