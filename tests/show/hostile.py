"""Names a user's file may hold, by malice or accident, and what must never come out of a sink."""

from __future__ import annotations

HOSTILE = (
    "</svg><script>alert(1)</script>",
    "<b>bold</b> & 'quoted' \"double\"",
    "$\\frac{1}{0}$ and $x^$",
    "[red]markup[/red] [/]",
    ":smiley: [link=file:///etc/passwd]x[/link]",
    "\x1b[2J\x1b[31mred\x1b]0;title\x07",
    "tab\tnew\nline\rreturn\x00null\x7f",
    "right\u202eto left\u2066 hidden\u200b",
    "\ud800 lone surrogate",
    "\U0001f697 \u6c7d\u8eca \u0627\u0644\u0645\u062d\u0631\u0643",
    "=cmd|' /C calc'!A0",
    "../../etc/passwd",
    "%s %n {0} {name}",
    "x" * 5000,
    "",
    "]]>--><!--",
)
