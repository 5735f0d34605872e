"""Coordinates in the SVG of a chart. `{% load charts %}`."""

from __future__ import annotations

from django import template

from jobs.core.charts import marks

register = template.Library()


@register.filter
def px(value: float) -> str:
    """ "12.5": never with a thousands separator or more digits than a screen has."""
    return marks.px(value)

