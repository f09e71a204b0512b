"""What the words in a heading usually mean: common practice of log sheets, no source."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

_BRACKETED = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")
_WORD = re.compile(r"[a-z0-9µ°%/+.-]+")

QUANTITY_WORDS: dict[str, str] = {
    "alk": "alkalinity", "alkalinity": "alkalinity", "kh": "alkalinity", "dkh": "alkalinity", "ta": "alkalinity",
    "ca": "calcium", "calcium": "calcium",
    "mg": "magnesium", "magnesium": "magnesium",
    "sr": "strontium", "strontium": "strontium",
    "k": "potassium", "potassium": "potassium",
    "no3": "nitrate", "nitrate": "nitrate", "nitrates": "nitrate",
    "po4": "phosphate", "phosphate": "phosphate", "phosphates": "phosphate",
    "nh4": "ammonia", "nh3": "ammonia", "ammonia": "ammonia", "ammonium": "ammonia", "tan": "ammonia",
    "ph": "ph",
    "t": "temperature", "temp": "temperature", "temperature": "temperature",
    "s": "salinity", "sal": "salinity", "salinity": "salinity", "sg": "salinity",
    "conductivity": "conductivity", "cond": "conductivity", "ec": "conductivity",
    "do": "dissolved_oxygen", "oxygen": "dissolved_oxygen",
    "orp": "orp", "redox": "orp",
    "inflow": "inflow", "flow": "inflow",
    "pco2": "pco2",
}  # fmt: skip

UNIT_WORDS: dict[str, dict[str, str]] = {
    "alkalinity": {"dkh": "dKH", "°dkh": "dKH", "kh": "dKH", "meq/l": "meq/L", "mmol/l": "mmol/L", "ppm": "mg/L CaCO3",
                   "mg/l": "mg/L CaCO3", "umol/l": "umol/L", "µmol/l": "umol/L", "umol/kg": "umol/kg",
                   "µmol/kg": "umol/kg"},
    "calcium": {"ppm": "mg/L", "mg/l": "mg/L", "mmol/l": "mmol/L"},
    "magnesium": {"ppm": "mg/L", "mg/l": "mg/L", "mmol/l": "mmol/L"},
    "strontium": {"ppm": "mg/L", "mg/l": "mg/L"},
    "potassium": {"ppm": "mg/L", "mg/l": "mg/L"},
    "nitrate": {"ppm": "mg/L NO3", "mg/l": "mg/L NO3", "no3-n": "mg/L NO3-N", "umol/l": "umol/L", "µmol/l": "umol/L"},
    "phosphate": {"ppm": "mg/L PO4", "mg/l": "mg/L PO4", "ppb": "ug/L PO4-P", "umol/l": "umol/L"},
    "ammonia": {"nh4-n": "mg/L NH4-N", "nh4": "mg/L NH4", "nh3": "mg/L NH3", "umol/l": "umol/L"},
    "ph": {},
    "temperature": {"c": "Cel", "°c": "Cel", "degc": "Cel", "cel": "Cel", "celsius": "Cel", "f": "degF", "°f": "degF",
                    "degf": "degF", "fahrenheit": "degF", "k": "K"},
    "salinity": {"ppt": "1", "psu": "1", "pss": "1", "‰": "1", "s": "1", "sg": "SG", "ms/cm": "mS/cm", "g/kg": "g/kg"},
    "conductivity": {"ms/cm": "mS/cm", "us/cm": "uS/cm", "µs/cm": "uS/cm", "s/m": "S/m"},
    "dissolved_oxygen": {"mg/l": "mg/L", "ppm": "mg/L", "umol/l": "umol/L", "µmol/l": "umol/L", "umol/kg": "umol/kg"},
    "orp": {"mv": "mV"},
    "inflow": {"l/min": "L/min", "lpm": "L/min", "l/h": "L/h", "lph": "L/h", "ml/min": "mL/min", "l/d": "L/d"},
    "pco2": {"uatm": "uatm", "µatm": "uatm"},
}  # fmt: skip

USUAL_UNIT: dict[str, str] = {
    "calcium": "mg/L", "magnesium": "mg/L", "strontium": "mg/L", "potassium": "mg/L", "nitrate": "mg/L NO3",
    "phosphate": "mg/L PO4", "ph": "[pH]", "dissolved_oxygen": "mg/L", "orp": "mV", "pco2": "uatm",
}  # fmt: skip

BANDS: dict[str, tuple[tuple[float, float, str], ...]] = {
    "alkalinity": ((1.2, 5.5, "meq/L"), (5.5, 20.0, "dKH"), (60.0, 350.0, "mg/L CaCO3"), (1000.0, 5000.0, "umol/L")),
    "temperature": ((-2.0, 45.0, "Cel"), (50.0, 113.0, "degF")),
    "salinity": ((1.0, 1.045, "SG"), (2.0, 60.0, "1")),
    "conductivity": ((20.0, 80.0, "mS/cm"), (20_000.0, 80_000.0, "uS/cm"), (2.0, 8.0, "S/m")),
}
"""Where values of a unit lie; a column whose middle value lies in one of them is taken to be in that unit."""

OTHER_WORDS: tuple[tuple[frozenset[str], str], ...] = (
    (frozenset({"datetime", "timestamp", "when", "taken_at", "date_time", "date/time", "datum"}), "date_and_time"),
    (frozenset({"date", "day"}), "date"),
    (frozenset({"time", "hour", "start"}), "time"),
    (
        frozenset({"tank", "system", "subject", "vessel", "loop", "location", "where", "sample", "tag", "reactor"}),
        "subject",
    ),
    (frozenset({"initials", "observer", "by", "who", "keeper", "sampler", "observed_by"}), "observer"),
    (frozenset({"note", "notes", "comment", "comments", "remarks", "observations"}), "note"),
    (frozenset({"maintenance", "work", "done", "service"}), "maintenance"),
)
LONG_WORDS: dict[str, str] = {
    "quantity": "quantity", "parameter": "quantity", "analyte": "quantity", "test": "quantity",
    "measurement": "quantity",
    "value": "value", "result": "value", "reading": "value", "amount": "value",
    "unit": "unit", "units": "unit",
    "method": "method", "kit": "method", "purpose": "purpose",
    "depth": "sample_point", "point": "sample_point", "sample_point": "sample_point",
}  # fmt: skip
NO_READINGS = frozenset(
    {"qc", "flag", "flags", "sd", "se", "stdev", "error", "uncertainty", "quality", "perc", "percent", "pct"}
)
SAMPLE_POINTS = ("surface", "bottom", "deep", "top", "middle", "inlet", "outlet", "sump")


@dataclass(frozen=True)
class Heading:
    """A heading taken apart: its words, and what stands in brackets (most often a unit)."""

    words: tuple[str, ...]
    bracketed: tuple[str, ...]

    @staticmethod
    def of(text: str) -> Heading:
        """The parts of a heading, in small letters."""
        inside = tuple(part.strip().lower() for part in _BRACKETED.findall(text))
        plain = _BRACKETED.sub(" ", text).lower()
        spaced = re.sub(r"[_,;:|]", " ", plain)
        words = [*_WORD.findall(spaced)]
        if "_" in plain:
            words.append(plain.strip().replace(" ", ""))
        return Heading(tuple(words), inside)


def quantity_in(heading: Heading) -> str | None:
    """The quantity that a heading names, or None; a flag, an error or a percentage of a quantity is none."""
    if NO_READINGS & set(heading.words):
        return None
    return next((QUANTITY_WORDS[word] for word in heading.words if word in QUANTITY_WORDS), None)


def unit_in(heading: Heading, quantity: str) -> str | None:
    """The unit that a heading names for a quantity, or None."""
    known = UNIT_WORDS.get(quantity, {})
    joined = [f"{one}/{other}" for one, other in pairwise(heading.words)]  # alk_umol_kg
    for part in (*heading.bracketed, *joined, *heading.words[::-1]):
        if part in known:
            return known[part]
    return next((known[word] for part in heading.bracketed for word in part.split() if word in known), None)


def conditions_in(heading: Heading, quantity: str) -> dict[str, Any]:
    """What a heading says of how it was measured: the scale of a pH."""
    if quantity != "ph":
        return {}
    said = {*heading.words, *(word for part in heading.bracketed for word in part.split())}
    return {"scale": scale} if (scale := next((word for word in ("nbs", "total") if word in said), None)) else {}


def sample_point_in(heading: Heading) -> str | None:
    """Where a heading says that the sample was taken."""
    return next((word for word in SAMPLE_POINTS if word in heading.words), None)


def other_use(heading: Heading) -> str | None:
    """What else than a quantity a heading names: a date, a subject, an observer, a note."""
    words = set(heading.words)
    if "date" in words and "time" in words:
        return "date_and_time"
    return next((use for known, use in OTHER_WORDS if words & known), None)
