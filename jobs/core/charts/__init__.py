"""Charts as marks with positions: numbers in, marks out. Pure.

    chart = curve.wait_curve(...)            # a Chart: width, height, marks, the sentence it proves
    {% include "charts/chart.html" with chart=chart table="t-waits" only %}
    paper.Drawn(chart)                       # the same marks as a block of a sheet

Points are (x, y) in pixels of a 13 px text, x to the right, y down. One module a chart; each takes plain values, nothing of an app.
"""
