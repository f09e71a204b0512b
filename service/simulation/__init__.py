"""A mechanistic simulator of a site that keeps stony corals: the truth, and what people record of it.

Everything it makes is invented. No real system was fitted, and agreement with it shows that an estimator recovers what
this model hides, not that the model is nature. It exists so that the intervals of the computations can be checked
against a known truth, and so that a newcomer finds a site with a season of records. It shares no code with the
computations it judges: its chemistry (service.simulation.chemistry) is its own.

**State**, hour by hour, for each system: water volume and five solutes (alkalinity, inorganic carbon, calcium,
magnesium, salt) in a well-mixed body of water, and the same in the chamber of a reactor.

**Equations** (V litres, c per litre, d/dt of the amounts c V)::

    corals     -U V skeleton,  U = level(t) (1 + b (Omega - Omega_ref))+ (1 - l + l light) w(Omega),
               w: 1 above Omega 1.5, falling to 0 at 0.5 (even a neglected tank ends somewhere)
               skeleton: 1 meq alkalinity, 1/2 mmol carbon, 1/2 mmol calcium + magnesium
               level(t): log-normal walk that returns to its mean, with growth and steps
    bacteria   -N V alkalinity (nitrification)
    daylight   -P V (light - 1) carbon (photosynthesis less respiration, none over a whole day)
    air        kLa V (K0 pCO2_room - [CO2]) carbon
    dosing     true pump rate = recorded rate x (1 + error)
    exchange   Q (c_new - c);  water change: drain v, then fill v, v and c_new as they truly were
    top-off    evaporation takes water only; fresh water brings nothing, limewater S alkalinity and S/2 calcium
    reactor    Q (c_chamber - c);  chamber: dc/dt = Q/Vc (c - c_chamber) + gas + media,
               media = m (ceiling - alkalinity)+ (mass left)^(2/3), ceiling: aragonite saturation 1 at the chamber's pH

    gas        the cylinder loses what passes the counter / (1 - leak); of that the chamber gets 1 - vented
    faults     a drip that loses a share, media whose rate falls, a leak, venting, a top-off that stands still, a lot or
               an instrument that reads wrong, samples that degas: from a day drawn in a window (.faults)

**Boundary** of the ledger (`SimulatedSystem.flows`): water of system and chamber. For each solute, stock at the end =
stock at the start + the sum of all terms. Gas exchange, gas fed, photosynthesis, skeletons, media, drain and new water
are terms; the drip is inside.

**Simplifications**: rates are held over the hour (the chamber is solved exactly); equilibrium constants follow
temperature and salinity by the day; volumes add; no precipitation; a gas line is never empty; phosphate, silicate and
organic alkalinity absent.

**Records** (`SimulatedSystem.recorded`) are what a person or a pump would have written: kit noise, outliers, lots,
hand-timed drips, nominal volumes. `labels` says what was wrong or missing; an estimator must not see it.
"""

from service.simulation.library import load_scenario, read_scenario, scenario_names
from service.simulation.records import (
    Addition,
    Fault,
    Labels,
    MaintenanceEvent,
    ProbeSeries,
    Reading,
    Recorded,
    SetPoint,
    SimulatedGasLine,
    SimulatedSite,
    SimulatedSystem,
    StockChange,
    Truth,
    Unrecorded,
)
from service.simulation.scenario import Scenario
from service.simulation.site import simulate, simulate_many
from service.simulation.strict import ScenarioError

__all__ = [
    "Addition",
    "Fault",
    "Labels",
    "MaintenanceEvent",
    "ProbeSeries",
    "Reading",
    "Recorded",
    "Scenario",
    "ScenarioError",
    "SetPoint",
    "SimulatedGasLine",
    "SimulatedSite",
    "SimulatedSystem",
    "StockChange",
    "Truth",
    "Unrecorded",
    "load_scenario",
    "read_scenario",
    "scenario_names",
    "simulate",
    "simulate_many",
]
