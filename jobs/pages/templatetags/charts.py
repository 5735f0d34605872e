"""Coordinates in the SVG of a chart. `{% load charts %}`."""

from __future__ import annotations

from collections.abc import Mapping

from django import template

from jobs.core.charts import marks

register = template.Library()


@register.filter
def px(value: float) -> str:
    """ "12.5": never with a thousands separator or more digits than a screen has."""
    return marks.px(value)


@register.filter
def of(rows: Mapping[int, marks.Chart], key: int) -> marks.Chart | None:
    """The row of a table that belongs to this key, if there is one."""
    return rows.get(key)
