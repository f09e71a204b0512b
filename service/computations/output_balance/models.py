"""What a reactor's output balance looks like."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from pydantic import Field

from service.computations.answers import Answer, Remark
from service.computations.output_balance.chemistry import AgainstCeiling
from service.http.shapes import Bounds, Shape


class EffluentRead(Shape):
    """What comes out of the chamber."""

    flow: Bounds | None
    alkalinity: Bounds | None
    ph: Bounds | None
    omega_aragonite: Bounds | None
    ceiling_alkalinity: Bounds | None = Field(description="The highest alkalinity at this pH: aragonite saturation 1.")
    against_ceiling: AgainstCeiling | None = Field(
        description="Where Omega stands against 1; perhaps_above: above, but its interval holds 1."
    )


class SupplyRead(Shape):
    """What the effluent brings to its systems a day; calcium and media as pure calcium carbonate."""

    alkalinity: Bounds | None
    calcium: Bounds | None
    media: Bounds | None


class DemandRead(Shape):
    """What a system takes a day."""

    alkalinity: Bounds | None


class SettlesAtRead(Shape):
    """Where alkalinity comes to rest if nothing is turned, in the reactor's mode."""

    alkalinity: Bounds
    mode: str = Field(description="gas_limited, ph_controlled or at_ceiling")
    time_constant: Bounds


class BalancedSystem(Shape):
    """One system that the reactor feeds."""

    system_id: UUID | None
    share: float
    supply: Bounds | None
    demand: DemandRead
    supply_over_demand: Bounds | None
    settles_at: SettlesAtRead | None


class LimitsRead(Shape):
    """What one per cent more of each would bring, in per cent of the supply; the three add up to 1."""

    gas: Bounds | None = Field(description="At the present drip; null where a controller holds the chamber's pH.")
    drip: Bounds | None = Field(description="At the present gas, or at the pH that is held.")
    media: Bounds | None = Field(description="Of media that dissolve faster.")


class GasRead(Shape):
    """The carbon dioxide the chamber takes up, by its chemistry."""

    added: Bounds | None
    use_fraction: Bounds | None = Field(description="Carbonate dissolved for each CO2 added.")
    carry_over: Bounds | None = Field(description="CO2 that the system must lose to keep its pH.")


class GasCheckRead(Shape):
    """The same gas seen four ways, and what their disagreement means."""

    by_chemistry: Bounds | None
    by_weighing: Bounds | None
    by_bubbles: Bounds | None
    by_gas_flow: Bounds | None
    fused: Bounds | None = Field(
        description="All that are known together, by inverse variance; null with fewer than two."
    )
    finding: Remark | None


class BalanceRead(Answer):
    """What a reactor delivers against what is asked of it. What cannot be told is null."""

    effluent: EffluentRead
    supply: SupplyRead
    demand: DemandRead
    supply_over_demand: Bounds | None = Field(description="Null unless the reactor feeds exactly one system.")
    settles_at: SettlesAtRead | None = Field(description="Null where nothing restores, or several systems are fed.")
    systems: list[BalancedSystem]
    limits: LimitsRead
    gas: GasRead
    gas_check: GasCheckRead


class OutputBalanceRead(BalanceRead):
    """The balance of one reactor by its records at an instant."""

    reactor_id: UUID
    at: datetime
