"""Keep a copy of everything recorded on a site: python mirror.py https://ooid.example north copy.json

The token comes from the environment (OOID_TOKEN). Run it as often as you like: it goes on where it stopped.
"""

import json
import os
import sys
from pathlib import Path
from typing import Any

import httpx


def mirror(service: Any, site: str, copy: dict[str, Any]) -> None:
    """Bring a copy, {"after": place, "things": {id: body}}, up to date with everything stored since."""
    while True:
        page = service.get("/v1/changes", params={"site": site, "after": copy["after"], "limit": 1000})
        changes = page.raise_for_status().json()
        if not changes["changes"]:
            return
        copy["things"] |= {change["id"]: change["body"] for change in changes["changes"]}
        copy["after"] = changes["next_after"]


if __name__ == "__main__":
    address, site, file = sys.argv[1], sys.argv[2], Path(sys.argv[3])
    copy = json.loads(file.read_text()) if file.exists() else {"after": "0", "things": {}}
    with httpx.Client(base_url=address, headers={"Authorization": f"Bearer {os.environ['OOID_TOKEN']}"}) as service:
        mirror(service, site, copy)
    file.write_text(json.dumps(copy))
