"""The styles of drawings on paper: those of the style sheet, in the colours it gives for print."""

from __future__ import annotations

import re
from functools import cache

from service.reports.shelf import PAPER

RULE = re.compile(r"^(\.(?:plot|strip)[^{\n]*)\{([^}\n]*)\}", re.MULTILINE)  # those of a phone are indented
PRINT = re.compile(r"@media print \{.*?:root \{([^}]*)\}", re.DOTALL)
COLOUR = re.compile(r"--([a-z-]+): ([^;]+);")
USED = re.compile(r"var\(--([a-z-]+)\)")
TEXT = 'text{font-family:"Libertinus Serif";font-size:11px}.plot-target-label{stroke:none}'


@cache
def drawing_styles() -> str:
    """The rules for plots and strips, as CSS whose every colour is said. Raises KeyError for one that print lacks."""
    sheet = PAPER.text("paper.css")
    printed = PRINT.search(sheet)
    assert printed is not None, "the style sheet has colours for print"
    colours = dict(COLOUR.findall(printed[1]))
    rules = []
    for selector, body in RULE.findall(sheet):
        kept = [each.strip() for each in body.split(";") if each.strip() and not each.strip().startswith("font")]
        said = ";".join(USED.sub(lambda found: colours[found[1]], each) for each in kept)
        rules.append(f"{selector.strip()}{{{said}}}")
    return "".join([*rules, TEXT])
