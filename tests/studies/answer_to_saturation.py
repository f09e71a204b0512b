"""How often the fitted answer of demand to its level holds the truth, on simulated systems.

    python tests/studies/answer_to_saturation.py [--seeds 23000-23059] [--scenario NAME ...]

The truth of a run: the simulator's own response to saturation, times the slope of its daily saturation over its daily
alkalinity, a share of the mean uptake. One line a scenario: the share of half-year records that tell anything, and of
those the share whose 95 % interval holds the truth.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from recorded_history import history_until

from service.science.answering import fit_answers
from service.simulation import SimulatedSystem, load_scenario, simulate_many

AT_DAY = 179.0


def true_answer(system: SimulatedSystem, response: float, reference: float) -> float:
    """The share of its demand by which a simulated system's demand rises with a meq/L."""
    daily = [
        values[: len(values) // 24 * 24].reshape(-1, 24).mean(axis=1)
        for values in (system.truth.alkalinity, system.truth.saturation, system.truth.uptake)
    ]
    alkalinity, saturation, uptake = daily
    slope = np.polyfit(alkalinity, saturation, 1)[0]
    unanswered = uptake / (1.0 + response * (saturation - reference))
    return float((unanswered * response * slope).mean() / uptake.mean())


def judged(name: str, seeds: range) -> tuple[float, float]:
    """Share of the runs that tell anything, and of those the share of intervals that hold the truth."""
    scenario = load_scenario(name)
    corals = scenario.system[0].corals
    systems = [next(iter(site.systems)) for site in simulate_many(scenario, seeds)]
    truth = [true_answer(each, corals.saturation_response, corals.reference_saturation) for each in systems]
    found = fit_answers(
        histories=[history_until(each.recorded, AT_DAY) for each in systems], at_days=np.full(len(systems), AT_DAY)
    )
    held = [each.low <= true <= each.high for each, true in zip(found, truth, strict=True) if each is not None]
    return len(held) / len(found), float(np.mean(held)) if held else float("nan")


def main() -> None:
    """Print one line a scenario."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="23000-23059")
    parser.add_argument("--scenario", nargs="*", default=["consumption/saturation", "consumption/steady"])
    asked = parser.parse_args()
    first, last = (int(each) for each in asked.seeds.split("-"))
    for name in asked.scenario:
        told, held = judged(name, range(first, last + 1))
        print(f"{name}: {told:.0%} of the records tell something, {held:.1%} of their intervals hold the truth")


if __name__ == "__main__":
    main()
