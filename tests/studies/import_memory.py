"""How much memory an import takes as its table grows: a dry run of 1e5 and of 1e6 rows, each in a process of its own.

    python tests/studies/import_memory.py            both, and the ratio
    python tests/studies/import_memory.py --rows 1000 --times 3
    python tests/studies/import_memory.py --record    recorded, not only tried

Prints peak memory (the resident set), rows a second, and the ratio; the goal is at most 1.3.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(CHECKOUT), str(CHECKOUT / "tests")]
GOAL = 1.3
BAD_IN = 33  # one row in so many


def measured(rows: int, *, record: bool) -> dict[str, float]:
    """Import so many rows in this process: seconds, peak memory in MiB, and what became of them."""
    from support.house import House
    from transfer.imports.tables import HEADINGS
    from transfer.imports.tables import rows as made

    from service.cli.opening import OPERATOR
    from service.http.caller import Door
    from service.storage.database import Database
    from service.storage.migrating import upgrade
    from service.transfer.imports.files import open_table
    from service.transfer.imports.mapping import Mapping
    from service.transfer.imports.running import Wanted, run

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        with path.open("w") as file:
            file.write(HEADINGS + "\n")
            file.writelines(line for line, _ in made(rows, bad=rows // BAD_IN))
        url = f"sqlite:///{folder}/ooid.db"
        upgrade(url)
        database = Database(url)
        house = House(database)
        site = house.a_site(tag="house")
        for number in range(1, 5):
            house.a_system(site, tag=f"tank-{number}")
        door = Door(database, OPERATOR, lambda: datetime(2026, 3, 2, 12, tzinfo=UTC))
        wanted = Wanted(open_table(path), "house", Mapping(time_zone="UTC"), dry_run=not record)
        began = time.perf_counter()
        ran = run(door, wanted, sink=lambda _outcome: None)
        seconds = time.perf_counter() - began
        database.close()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2)
    return {"rows": ran.counts["rows"], "rejected": ran.counts["rejected"], "seconds": seconds, "peak_mib": peak}


def apart(rows: int, *, record: bool) -> dict[str, float]:
    """The same in a process of its own."""
    command = [sys.executable, __file__, "--one", str(rows), *(["--record"] if record else [])]
    said = subprocess.run(command, check=True, capture_output=True, text=True, env=os.environ)
    found: dict[str, float] = json.loads(said.stdout.splitlines()[-1])
    return found


def main() -> int:
    """Measure both sizes and print the ratio; 1 when it is above the goal."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--rows", type=int, default=100_000)
    options.add_argument("--times", type=int, default=10, help="how many times as many in the larger table")
    options.add_argument("--record", action="store_true")
    options.add_argument("--one", type=int, help=argparse.SUPPRESS)
    asked = options.parse_args()
    if asked.one is not None:
        print(json.dumps(measured(asked.one, record=asked.record)))
        return 0
    found = [apart(rows, record=asked.record) for rows in (asked.rows, asked.rows * asked.times)]
    for each in found:
        rate = each["rows"] / each["seconds"]
        print(f"{each['rows']:.0f} rows: peak {each['peak_mib']:.1f} MiB, {each['seconds']:.0f} s, {rate:.0f} rows/s, "
              f"{each['rejected']:.0f} rejected", flush=True)  # fmt: skip
    ratio = found[1]["peak_mib"] / found[0]["peak_mib"]
    print(f"{'recorded' if asked.record else 'dry run'}: {ratio:.3f} times the memory (goal {GOAL})")
    return 0 if ratio <= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
