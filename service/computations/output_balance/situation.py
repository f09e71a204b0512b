"""What a reactor's balance is computed from, whether it came from records or with the request."""

from __future__ import annotations

from dataclasses import dataclass, field
from uuid import UUID

from service.computations.output_balance.numbers import Number
from service.science.answering import Answer
from service.science.reactor_output import Mode

NOTHING = Number(0.0, 0.0)
TIMED_DRIP, EFFLUENT_KIT = 0.10, 0.03
"""What every check of a drip or an effluent shares, relative sd (common practice): the watch, the titrant."""


@dataclass(frozen=True)
class Chamber:
    """What was read at the outlet: flow L/d, alkalinity meq/L, pH (NBS)."""

    flow: Number | None
    alkalinity: Number | None
    ph: Number | None
    temperature_c: float | None = None
    sample_ph: Number | None = None  # of a sample, where the chamber itself was read too


@dataclass(frozen=True)
class Others:
    """What else reaches a system: meq/d, and the water that is changed, L/d and meq/L."""

    supply: Number = NOTHING
    exchange_l_d: float = 0.0
    exchange_alkalinity: float = 0.0


@dataclass(frozen=True)
class Fed:
    """A system that the reactor feeds, as it is now. `demand` is all it takes, meq/d."""

    share: float
    system_id: UUID | None
    alkalinity: Number | None
    ph: Number | None
    temperature_c: float
    salinity: float
    boron_factor: float
    volume_l: float | None
    demand: Number | None
    others: Others | None = field(default_factory=Others)
    answer: Answer | None = None  # of its demand to its level, where its record tells
    demand_knows_reactor: bool = False  # the demand was estimated with this reactor's drip in it


@dataclass(frozen=True)
class Gas:
    """Gas use by other witnesses than chemistry, g/d."""

    by_weighing: Number | None = None
    by_bubbles: Number | None = None
    by_gas_flow: Number | None = None
    bubbles_per_s: float | None = None
    significant_score: float = 1.959964  # from which weighing and chemistry are said to differ


@dataclass(frozen=True)
class Situation:
    """Everything one balance is computed from."""

    chamber: Chamber
    fed: tuple[Fed, ...]
    gas: Gas
    mode: Mode
    subject_id: UUID | None = None
    doubts_flow: bool = False  # the drip's reading changed and the water did not: nothing is named that rests on it
    is_steady: bool = True  # drip and effluent were read together, and the drip did not just change
