"""What limits the supply: the shares of gas, drip and media, and their name where the supply falls short."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from service.computations.answers import remark
from service.computations.output_balance.balance import Balanced
from service.computations.output_balance.fitted import fitted_to
from service.computations.output_balance.many import by_kind, column, of_known, rows
from service.computations.output_balance.numbers import Ratio, interval
from service.computations.output_balance.outflow import Outflow, inflow_of, relative_sd, runnings
from service.computations.output_balance.situation import Situation
from service.science.chamber_limits import LimitsKnown, ReadingErrors, limits_with_errors
from service.science.chamber_uncertainty import Interval
from service.science.reactor_output import Mode

NO_LIMITS: dict[str, Any] = {"gas": None, "drip": None, "media": None}
A_TENTH = 1.1
DRIP_LIMITED, GAS_LIMITED, MEDIA_LIMITED = "drip_limited", "gas_limited", "media_limited"


def limits_of(situations: Sequence[Situation]) -> list[LimitsKnown | None]:
    """Each one's shares in the mode it is run in; None where its readings fix no chamber, or nothing dissolves."""
    able = [_able(each) for each in situations]
    return of_known(able, lambda known: by_kind(known, lambda each: _holds_ph(each[0]), _limits))


def _able(situation: Situation) -> tuple[Situation, Outflow] | None:
    outflow = fitted_to(situation)
    if (
        outflow is None
        or outflow.drips is None
        or outflow.alkalinity.value <= 0
        or outflow.inflow.alkalinity.value <= 0
    ):
        return None
    return situation, outflow


def _limits(holds_ph: bool, able: Sequence[tuple[Situation, Outflow]]) -> list[LimitsKnown | None]:
    outflows = [outflow for _, outflow in able]
    found = limits_with_errors(
        running=runnings(outflows),
        errors=ReadingErrors(
            inflow_alkalinity_relative=column(relative_sd(each.inflow.alkalinity) for each in outflows),
            inflow_ph=column(each.tank_ph.sd for each in outflows),
            effluent_alkalinity_relative=column(relative_sd(each.alkalinity) for each in outflows),
            effluent_ph=column(each.ph.sd for each in outflows),
        ),
        holds_ph=holds_ph,
    )
    return [each if math.isfinite(float(each.media.value)) else None for each in rows(found)]


def shown(situation: Situation, found: LimitsKnown | None) -> dict[str, Any]:
    """The three shares as they leave; that of the gas is null where a controller lets it follow the drip."""
    if found is None:
        return NO_LIMITS
    return {
        "gas": None if _holds_ph(situation) else _bounds(found.gas),
        "drip": _bounds(found.drip),
        "media": _bounds(found.media),
    }


def limited_by(situation: Situation, found: LimitsKnown | None) -> str | None:
    """The code of the one share that leads each other by more than its error; None where none does."""
    if found is None:
        return None
    leads = {
        GAS_LIMITED: (found.gas_over_drip.low, found.gas_over_media.low),
        DRIP_LIMITED: (-found.gas_over_drip.high, found.drip_over_media.low),
        MEDIA_LIMITED: (-found.gas_over_media.high, -found.drip_over_media.high),
    }
    if _holds_ph(situation):
        del leads[GAS_LIMITED]
    return next((code for code, each in leads.items() if all(float(low) > 0 for low in each)), None)


def finding(situation: Situation, found: LimitsKnown | None, parts: Sequence[Balanced]) -> list[dict[str, Any]]:
    """What limits a supply that falls short of what is asked of it by more than the two are known."""
    short = [part.covers for part in parts if part.covers is not None and _falls_short(part.covers)]
    code = limited_by(situation, found) if situation.is_steady and not situation.doubts_flow else None
    if not short or code is None or found is None:
        return []
    least = min(short, key=lambda each: each.value)
    asked = f"The reactor brings {least.value:.2f} ({least.low:.2f} to {least.high:.2f}) of what is asked of it"
    words = {GAS_LIMITED: _gas, DRIP_LIMITED: _drip, MEDIA_LIMITED: _media}[code]
    return [remark(code, f"{asked}, and {words(situation, found)}", situation.subject_id)]


def _falls_short(covers: Ratio) -> bool:
    return covers.low is not None and covers.high is not None and covers.low > 0 and covers.high < 1


def _holds_ph(situation: Situation) -> bool:
    return situation.mode is Mode.PH_CONTROLLED


def _gas(situation: Situation, found: LimitsKnown) -> str:
    return (
        f"its gas limits that: one per cent more gas would bring {_share(found.gas)} more, one per cent more drip at "
        f"the same gas {_share(found.drip)}. A faster drip only thins the effluent. To confirm, give a tenth more gas, "
        f"leave the drip alone and test the effluent after two or three days: {_then(situation, found.gas.value)} "
        "says so."
    )


def _drip(situation: Situation, found: LimitsKnown) -> str:
    gas = (
        "with the gas following at the held pH"
        if _holds_ph(situation)
        else f"one per cent more gas only {_share(found.gas)}"
    )
    return (
        f"its drip limits that: one per cent more drip would bring {_share(found.drip)} more, {gas}. To confirm, give "
        "a tenth more drip, time it, and test the effluent after two or three days: "
        f"{_then(situation, found.drip.value - 1.0)} says so."
    )


def _media(situation: Situation, found: LimitsKnown) -> str:
    return (
        f"its media limit that: the water leaves long before it has dissolved what it could. Media that dissolve one "
        f"per cent faster would bring {_share(found.media)} more, one per cent more drip {_share(found.drip)}. To "
        "confirm, halve drip and gas alike for two or three days and test the effluent: if it rises clearly, time in "
        "the bed is what lacks, if hardly, the water runs past it. Close the gas and let the pressure off before "
        "opening anything."
    )


def _then(situation: Situation, exponent: Any) -> str:
    """What the effluent comes to when the knob is turned up by a tenth."""
    chamber, inflow = situation.chamber, inflow_of(situation.fed)
    assert chamber.alkalinity is not None
    assert inflow is not None
    gained = chamber.alkalinity.value - inflow.alkalinity.value
    then = inflow.alkalinity.value + gained * A_TENTH ** float(exponent)
    way = "a rise" if then > chamber.alkalinity.value else "no more than a fall"
    return f"{way} from {chamber.alkalinity.value:.1f} to about {then:.1f} meq/L"


def _share(found: Interval) -> str:
    return f"{float(found.value):.2f} % ({float(found.low):.2f} to {float(found.high):.2f})"


def _bounds(found: Interval) -> dict[str, Any]:
    return interval(float(found.value), float(found.low), float(found.high), "1")
